package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/countfile"
	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	"jointledger/internal/nearest"
	pb "jointledger/proto/jointledger/v1"
)

const modelHelp = `A logistic model of failures among attempts, or a Poisson model of counts in an
exposure. Give what may explain them with --factor and --covariate, what is asked about
first. A factor's levels are compared with its reference, the one with most attempts
unless it is given: --factor lot:reference=L-1042. A covariate's ratio is for one unit
more, or for so many: --covariate day:per=30:at=0;30;60, where at are the values at which
rates are predicted.

On the server --response names the kinds of incident that count, parted by commas; all
thread failures when it is not given. Factors are groupings: site, region, lot, supplier,
treatment, material, thread, driving-method, person (only with --by-name), tool, month,
week or day; covariates are day, length (millimetres) and joint-fasteners. --cluster joint
sets beside the plain intervals those that allow for fasteners of one joint failing
together. Attempts are the exposure of a Poisson model.

With --from FILE each row is a group or a trial, and factors, covariates and --cluster
name columns. --response names the column of failures: failures when not given, or
outcome (0 or 1), or count. Attempts are in the column attempts, or the one that
--attempts names; without it a row is one trial. A Poisson model takes its exposure from
the column exposure, or the one that --exposure names; without it each row has 1.

Firth's penalty is used where the data separate, unless --penalty says always or never.

In JSON and CSV a row is a level against the reference, or a step of a covariate; the
last one, (intercept), is for factors at their references and covariates at 0. Estimates
and standard errors are on the logarithmic scale. p_value is the likelihood-ratio test's,
wald_p_value that of wald_z, the estimate over its standard error; "tests" are of
dropping a term, "rates" are predicted with the other terms as they are. A figure that there is none
of is null, and note or a caution says why.`

// modelOptions are the flags of model.
type modelOptions struct {
	f    *fields
	from string
	// response, attempts and exposure are columns of a file; the response is kinds of
	// incident on the server.
	response, attempts, exposure, cluster string
	terms                                 []analysis.ModelTerm
	confidence                            float64
	family                                analysis.ModelFamily
	penalty                               analysis.ModelPenalty
	useDispersion, byName                 bool
	scope                                 *scope
}

func (a *app) modelCommand() *cobra.Command {
	o := &modelOptions{}
	cmd := a.command("model", "What explains failures, several things allowed for at once", modelHelp)
	cmd.Example = "  trackctl model --response galling --factor treatment --factor lot:reference=L-1042 --cluster joint\n" +
		"  trackctl model --from flights.csv --response damaged --attempts rings --covariate temperature:at=31\n" +
		"  trackctl model --from ships.csv --family poisson --response count --exposure months --factor type -o json"
	o.f = newFields(cmd)
	fromFlag(o.f, &o.from, "rows, one for each group or trial")
	o.f.bind("response", "kinds", "WORD", "what is explained: kinds of incident, or a column of the file", func(text string) error { o.response = text; return nil })
	o.f.bind("factor", "terms", "TERM", "a factor: NAME or NAME:reference=LEVEL; again for another", func(text string) error { return o.term(text, false) })
	o.f.bind("covariate", "terms", "TERM", "a covariate: NAME, NAME:per=STEP, NAME:at=VALUE;VALUE; again for another", func(text string) error { return o.term(text, true) })
	o.f.bind("cluster", "", "COLUMN", "what rows of one are not independent: joint, or a column of the file", func(text string) error { o.cluster = text; return nil })
	o.f.words("family", "family", "what is modelled; logistic when not given", analysis.ModelFamilies.All(), func(word string) error {
		var err error
		o.family, err = analysis.ModelFamilies.Parse(word)
		return err
	})
	o.f.words("penalty", "penalty", "when Firth's penalty is used; when-separated when not given", analysis.ModelPenalties(), func(word string) error {
		i, err := chosen("time", analysis.ModelPenalties(), word)
		o.penalty = analysis.ModelPenalty(max(i, 1) - 1)
		return err
	})
	o.f.boolean(&o.useDispersion, "dispersion", "use_dispersion", "widen intervals by Pearson's dispersion where it is above 1")
	o.f.bind("attempts", "", "COLUMN", "with --from: the column of the attempts", func(text string) error { o.attempts = text; return nil })
	o.f.bind("exposure", "", "COLUMN", "with --from: the column of the exposure", func(text string) error { o.exposure = text; return nil })
	confidenceFlag(o.f, &o.confidence)
	byNameFlag(o.f, &o.byName)
	o.scope = newScope(o.f, false, scopeGroupings()...)
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		if len(o.terms) == 0 {
			return usage("%s needs --factor or --covariate, one at least", cmd.CommandPath())
		}
		if o.from == "" {
			return a.modelOnServer(ctx, o)
		}
		if err := o.scope.noFile(); err != nil {
			return err
		}
		return a.modelOfFile(o)
	})
}

// term reads a factor or covariate.
func (o *modelOptions) term(text string, covariate bool) error {
	parts := strings.Split(text, ":")
	t := analysis.ModelTerm{Column: strings.TrimSpace(parts[0]), Covariate: covariate}
	if t.Column == "" {
		return fmt.Errorf("expected a name, got %s", csvfile.Quote(text))
	}
	for _, part := range parts[1:] {
		key, value, _ := strings.Cut(part, "=")
		if err := termPart(&t, key, value); err != nil {
			return err
		}
	}
	for _, earlier := range o.terms {
		if earlier.Column == t.Column {
			return fmt.Errorf("expected each term once, got %s again", csvfile.Quote(t.Column))
		}
	}
	o.terms = append(o.terms, t)
	return nil
}

func termPart(t *analysis.ModelTerm, key, value string) error {
	switch {
	case !t.Covariate && key == "reference":
		if t.Reference = value; value == "" {
			return fmt.Errorf("expected a level after reference=, got nothing")
		}
		return nil
	case t.Covariate && key == "per":
		v, problem := csvfile.ParseNumber(value)
		if problem == "" && v <= 0 {
			problem = "expected a number above 0 after per=, got " + value
		}
		if problem != "" {
			return fmt.Errorf("%s", problem)
		}
		t.Per = v
		return nil
	case t.Covariate && key == "at":
		for _, one := range strings.Split(value, ";") {
			v, problem := csvfile.ParseNumber(strings.TrimSpace(one))
			if problem != "" {
				return fmt.Errorf("%s", problem)
			}
			t.At = append(t.At, v)
		}
		return nil
	case t.Covariate:
		return fmt.Errorf("expected per= or at= after the name of a covariate, got %s", csvfile.Quote(key))
	}
	return fmt.Errorf("expected reference= after the name of a factor, got %s", csvfile.Quote(key))
}

// modelOfFile fits the model to the rows of a file.
func (a *app) modelOfFile(o *modelOptions) error {
	source := &fileSource{name: o.from, in: a.in}
	table, err := readFrom(source, countfile.ReadTable)
	if err != nil {
		return err
	}
	m := analysis.ModelOptions{
		Family: o.family, Failures: o.response, Attempts: o.attempts, Exposure: o.exposure, Terms: slices.Clone(o.terms),
		Cluster: o.cluster, Confidence: o.confidence, Penalty: o.penalty, UseDispersion: o.useDispersion,
	}
	if err := o.columns(&m, table.ModelTable); err != nil {
		return err
	}
	answer, err := analysis.Model(table.ModelTable, m)
	var cell *analysis.ModelCellError
	switch {
	case errors.As(err, &cell):
		p := csvfile.Problem{File: o.from, Line: table.Lines[cell.Row], Name: cell.Column, Message: fmt.Sprintf("%s %s, got %s", cell.Column, cell.Requirement, cell.Value)}
		return &failure{code: exitData, message: p.String()}
	case err != nil:
		failed := analysisFailure(err, source, nil)
		if f, ok := errors.AsType[*failure](failed); !ok || f.code != exitInternal {
			return failed
		}
		// What the fit says of the data: that they separate, or that it does not settle.
		return &failure{code: exitData, message: fmt.Sprintf("%s: %v", o.from, err)}
	}
	return a.tellModel(answer, o.confidence)
}

// columns finds the columns that were not named, and refuses names that no column has.
func (o *modelOptions) columns(m *analysis.ModelOptions, table analysis.ModelTable) error {
	var names []string
	for _, c := range table.Columns {
		names = append(names, c.Name)
	}
	usual := func(dst *string, candidates ...string) {
		for _, c := range candidates {
			if *dst == "" && slices.Contains(names, c) {
				*dst = c
			}
		}
	}
	poisson := m.Family == analysis.PoissonModel
	if usual(&m.Failures, "failures", "outcome", "count"); m.Failures == "" {
		return o.noColumn("response", "failures", names)
	}
	switch {
	case poisson && m.Attempts != "":
		return usage("--attempts belongs to a logistic model; a Poisson model has --exposure")
	case !poisson && m.Exposure != "":
		return usage("--exposure belongs to a Poisson model; a logistic one has --attempts")
	case poisson:
		usual(&m.Exposure, "exposure")
	case m.Failures != "outcome":
		usual(&m.Attempts, "attempts")
	}
	for _, want := range []struct{ flag, name string }{{"response", m.Failures}, {"attempts", m.Attempts}, {"exposure", m.Exposure}, {"cluster", m.Cluster}} {
		if want.name != "" && !slices.Contains(names, want.name) {
			return o.noColumn(want.flag, want.name, names)
		}
	}
	for _, t := range m.Terms {
		if !slices.Contains(names, t.Column) {
			flag := "factor"
			if t.Covariate {
				flag = "covariate"
			}
			return o.noColumn(flag, t.Column, names)
		}
	}
	return nil
}

func (o *modelOptions) noColumn(flag, name string, names []string) error {
	message := fmt.Sprintf("--%s: %s has no column %s", flag, o.from, csvfile.Quote(name))
	if n, ok := nearest.Name(name, names); ok {
		message += fmt.Sprintf("; did you mean %s?", n)
	} else {
		message += "; it has " + someOf(names)
	}
	return &failure{code: exitUnknown, message: message}
}

// modelOnServer fits the model to the record.
func (a *app) modelOnServer(ctx context.Context, o *modelOptions) error {
	request := &pb.QueryModelRequest{
		Filters: o.scope.filters, StartDate: o.scope.since, EndDate: o.scope.until, Family: pb.ModelFamily(o.family), Confidence: o.confidence,
		Penalty: pb.ModelPenalty(o.penalty + 1), UseDispersion: o.useDispersion, ByName: o.byName,
	}
	for _, flag := range []string{"attempts", "exposure"} {
		if o.f.isGiven(flag) {
			return usage("--%s names a column of a file; give the file with --from", flag)
		}
	}
	switch o.cluster {
	case "":
	case "joint":
		request.ByJoint = true
	default:
		return usage("--cluster: expected joint, got %s; other columns need --from", csvfile.Quote(o.cluster))
	}
	for _, word := range strings.Split(o.response, ",") {
		if word = strings.TrimSpace(word); word == "" {
			continue
		}
		kind, err := ledger.IncidentKinds.Parse(word)
		if err != nil {
			return usage("--response: %v", err)
		}
		if !slices.Contains(request.Kinds, pb.IncidentKind(kind)) {
			request.Kinds = append(request.Kinds, pb.IncidentKind(kind))
		}
	}
	for _, t := range o.terms {
		m, err := termForServer(t)
		if err != nil {
			return err
		}
		if err := checkByName(o.byName, analysis.Grouping(m.Factor)); err != nil {
			return err
		}
		request.Terms = append(request.Terms, m)
	}
	conn, err := a.dial()
	if err != nil {
		return err
	}
	got, err := pb.NewComparisonServiceClient(conn).QueryModel(ctx, request)
	if err != nil {
		return a.callFailure(err, o.f.names())
	}
	return a.tellModel(modelFrom(got), o.confidence)
}

func termForServer(t analysis.ModelTerm) (*pb.ModelTerm, error) {
	if t.Covariate {
		c, err := analysis.ModelCovariates.Parse(t.Column)
		if err != nil {
			return nil, usage("--covariate: %v", err)
		}
		return &pb.ModelTerm{Covariate: pb.ModelCovariate(c), Per: t.Per, At: t.At}, nil
	}
	i, err := chosen("grouping", groupings, t.Column)
	if err != nil {
		return nil, usage("--factor: %v", err)
	}
	reference, err := filterValue(pb.Grouping(i), t.Reference)
	if t.Reference == "" {
		reference, err = "", nil
	}
	if err != nil {
		return nil, usage("--factor: reference: %v", err)
	}
	return &pb.ModelTerm{Factor: pb.Grouping(i), Reference: reference}, nil
}
