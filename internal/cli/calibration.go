package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) calibrationCommand() *cobra.Command {
	return group("calibration", "Calibrations: a laboratory's readings of a tool", a.calibrationAdd(), a.calibrationList(), a.calibrationShow())
}

func (a *app) calibrationAdd() *cobra.Command {
	var entry entryOptions
	record := &pb.Calibration{}
	cmd := a.command("add SERIAL", "Record a calibration of a tool",
		"Each --as-found and --as-left is one test point in newton metres: the target, its\n"+
			"readings parted by semicolons, and their expanded uncertainty:\n"+
			"  --as-left \"24: 24.01;24.21;24.37 ± 0.288\"\n"+
			"The readings before adjustment come first. Only a declaration of conformance states\n"+
			"no uncertainty: --document declaration-of-conformance.\n"+
			"The server computes the verdict from the readings, for a tool with a type and class\n"+
			"of ISO 6789-1: every reading must lie within the limit, under the decision rule that\n"+
			"--rule names, simple-acceptance when it is not given. It is kept with the readings. A\n"+
			"declaration of conformance is no calibration certificate: it starts the interval of\n"+
			"a new tool and of no other.\n\n"+caution)
	cmd.Example = "  trackctl calibration add TW-ASH-01 --as-left \"24: 24.01;24.21;24.37;24.1;24.2 ± 0.288\" --coverage-factor 2 \\\n" +
		"    --laboratory \"Fell Metrology\" --certificate FM-118 --document calibration-certificate --rule guard-band --stated-verdict pass"
	f := newFields(cmd)
	finish := calibrationFields(f, record)
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		finish()
		return a.calibrate(ctx, args, f, record, &entry)
	})
}

// calibrationFields binds the flags of what a calibration tells besides its tool.
// What it gives must be called when the flags have been read.
func calibrationFields(f *fields, record *pb.Calibration) (finish func()) {
	kept, given := record.Points, []*pb.CalibrationPoint(nil)
	point := func(phase ledger.CalibrationPhase) func(string) error {
		return func(text string) error {
			p, err := parsePoint(phase, text)
			if err != nil {
				return err
			}
			if phase == ledger.AsFound && slices.ContainsFunc(given, func(p *pb.CalibrationPoint) bool {
				return p.GetPhase() == pb.CalibrationPhase_CALIBRATION_PHASE_AS_LEFT
			}) {
				return errors.New("as-found comes after as-left; expected the readings before adjustment first")
			}
			// The points given for a phase take the place of those that it had.
			kept = slices.DeleteFunc(slices.Clone(kept), func(p *pb.CalibrationPoint) bool { return p.GetPhase() == pb.CalibrationPhase(phase) })
			given = append(given, p)
			record.Points = append(slices.Clone(kept), given...)
			return nil
		}
	}
	f.bind("as-found", "points", "POINT", "a test point before adjustment; again for more", point(ledger.AsFound))
	f.bind("as-left", "points", "POINT", "a test point as the tool went out; again for more", point(ledger.AsLeft))
	var factor float64
	aboveZeroFlag(f, &factor, "coverage-factor", "coverage factor k of the uncertainties")
	f.paths["coverage-factor"] = "points.coverage_factor"
	f.text(&record.Laboratory, "laboratory", "laboratory", "laboratory")
	f.text(&record.Certificate, "certificate", "certificate", "certificate number")
	certificateFields(f, record)
	return func() {
		// Of a correction, readings as found may stand beside those as left that it keeps.
		slices.SortStableFunc(record.Points, func(a, b *pb.CalibrationPoint) int { return int(a.GetPhase()) - int(b.GetPhase()) })
		for _, p := range record.Points {
			if factor > 0 {
				p.CoverageFactor = factor
			}
		}
	}
}

// certificateFields binds the flags of what the certificate says besides readings.
func certificateFields(f *fields, record *pb.Calibration) {
	wordField(f, &record.Document, ledger.CalibrationDocuments, "document", "document", "what the certificate is")
	wordField(f, &record.DecisionRule, ledger.DecisionRules, "rule", "decision_rule", "decision rule of the verdict")
	wordField(f, &record.StatedVerdict, ledger.Verdicts, "stated-verdict", "stated_verdict", "the laboratory's own verdict")
	f.temperature(&record.AirCelsius, "air", "air_celsius", "air temperature during the calibration")
	f.optionalNumber(&record.HumidityPercent, "humidity", "humidity_percent", "relative humidity during the calibration, percent")
	aboveZeroFlag(f, &record.DeviceUncertaintyPercent, "device-uncertainty", "expanded uncertainty of the measuring device, percent of reading")
	f.paths["device-uncertainty"] = "device_uncertainty_percent"
}

// parsePoint reads a test point: `TARGET: READING;READING ± UNCERTAINTY`.
func parsePoint(phase ledger.CalibrationPhase, typed string) (*pb.CalibrationPoint, error) {
	target, rest, ok := strings.Cut(typed, ":")
	if !ok {
		return nil, fmt.Errorf("expected TARGET: READING;READING such as \"24: 24.01;24.21\", got %s", csvfile.Quote(typed))
	}
	readings, uncertainty, stated := strings.Cut(rest, "±")
	p := &pb.CalibrationPoint{Phase: pb.CalibrationPhase(phase)}
	var problem string
	if p.TargetNewtonMetres, problem = csvfile.ParseNumber(strings.TrimSpace(target)); problem != "" {
		return nil, fmt.Errorf("target: %s", problem)
	}
	for _, text := range strings.Split(readings, ";") {
		v, problem := csvfile.ParseNumber(strings.TrimSpace(text))
		if problem != "" {
			return nil, fmt.Errorf("reading: %s", problem)
		}
		p.ReadingsNewtonMetres = append(p.ReadingsNewtonMetres, v)
	}
	if stated {
		if p.ExpandedUncertaintyNewtonMetres, problem = csvfile.ParseNumber(strings.TrimSpace(uncertainty)); problem != "" {
			return nil, fmt.Errorf("uncertainty: %s", problem)
		}
		if !(p.ExpandedUncertaintyNewtonMetres > 0) {
			return nil, fmt.Errorf("uncertainty: expected a number above 0 N.m, got %s", csvfile.Quote(strings.TrimSpace(uncertainty)))
		}
	}
	return p, nil
}

func (a *app) calibrate(ctx context.Context, args []string, f *fields, record *pb.Calibration, o *entryOptions) error {
	tool, err := resourceArg(args[0], "tools")
	if err != nil {
		return err
	}
	if len(record.Points) == 0 {
		return usage("calibration add needs at least one --as-found or --as-left")
	}
	id, entry, err := a.entry(ctx, o, false)
	if err != nil {
		return err
	}
	record.Name, record.Tool, record.Entry = "calibrations/"+id, tool, entry
	names := f.names()
	names["tool"] = "SERIAL"
	pointNames(names, record)
	s := sent{kind: ledger.KindCalibration, id: id, summary: sentence("calibration of "+ledger.ShortName(tool), counted(len(record.Points), "test point")), names: names}
	s.calibration = a.calibrationReader(ctx, record.Name)
	return a.sendRecord(ctx, s, o, record)
}

// calibrationReader reads back a calibration with the verdict that the server
// computed.
func (a *app) calibrationReader(ctx context.Context, name string) func() (*pb.Calibration, error) {
	return func() (*pb.Calibration, error) {
		conn, err := a.dial()
		if err != nil {
			return nil, err
		}
		return pb.NewToolServiceClient(conn).GetCalibration(ctx, &pb.GetCalibrationRequest{Name: name})
	}
}

// verdictHere computes the verdict of a calibration that waits, as the server will, from
// the tool as it is carried; nil where no carried data know the tool. What the server
// will not take in is told.
func (a *app) verdictHere(s sent, r record) (*pb.Calibration, []string) {
	domain, problems := wire.RecordFrom(r)
	c, ok := domain.(*ledger.Calibration)
	if !ok || len(problems) > 0 {
		return nil, nil
	}
	_, past, err := a.carriedTool("tools/" + c.Tool)
	if err != nil {
		return nil, []string{"the verdict comes with the server's answer: " + err.Error()}
	}
	var lines []string
	other, err := a.certifiedHere(c)
	if err != nil {
		lines, other = append(lines, "whether its certificate is that of another calibration can't be told here: "+err.Error()), uuid.Nil
	}
	untold := len(lines)
	refused := analysis.CheckCalibration(past.Tool, c, a.now())
	if other != uuid.Nil {
		refused = append(refused, analysis.CertificateTaken(c, other))
	}
	for _, wrong := range refused {
		lines = append(lines, "look: the server will refuse this by what is carried of the tool: "+fieldLine(wrong.Field, wrong.Description, s.names))
	}
	if len(lines) > untold {
		return nil, lines
	}
	if c.Verdict, err = analysis.CalibrationVerdict(past.Tool, c); err != nil {
		return nil, []string{"the verdict comes with the server's answer: " + err.Error()}
	}
	m := wire.CalibrationTo(c)
	return m, append(lines, verdictLines(m)...)
}

// pointNames gives what is wrong with a field of a test point the flag and target of
// that point.
func pointNames(names map[string]string, record *pb.Calibration) {
	delete(names, "points")
	if flag, ok := names["points.coverage_factor"]; ok {
		names["coverage_factor"] = flag
	}
	for i, p := range record.GetPoints() {
		for k := range p.GetReadingsNewtonMetres() {
			names[fmt.Sprintf("points[%d].readings_newton_metres[%d]", i, k)] = fmt.Sprintf("--%s %g, reading %d", wordOf(ledger.CalibrationPhases, p.GetPhase()), p.GetTargetNewtonMetres(), k+1)
		}
		for _, field := range []string{"phase", "target_newton_metres", "readings_newton_metres", "expanded_uncertainty_newton_metres"} {
			names[fmt.Sprintf("points[%d].%s", i, field)] = fmt.Sprintf("--%s %g, %s", wordOf(ledger.CalibrationPhases, p.GetPhase()), p.GetTargetNewtonMetres(), pointFields[field])
		}
	}
}

var pointFields = map[string]string{
	"phase": "phase", "target_newton_metres": "target", "readings_newton_metres": "readings", "expanded_uncertainty_newton_metres": "uncertainty",
}

// Calibrations are nested in JSON; tables and CSV have a line for each test point,
// as the import format has.

func calibrationColumns() []output.Column[*pb.Calibration] {
	columns := calibrationHead(func(c *pb.Calibration) *pb.Calibration { return c })
	columns = append(columns, output.Column[*pb.Calibration]{Name: "points", Value: func(c *pb.Calibration) any {
		points := make([]output.Object, len(c.GetPoints()))
		for i, p := range c.GetPoints() {
			for _, col := range pointColumns() {
				points[i] = append(points[i], output.Member{Key: col.Name, Value: col.Value(point{c, p})})
			}
		}
		return points
	}})
	columns = append(columns, certificateColumns(func(c *pb.Calibration) *pb.Calibration { return c })...)
	columns = append(columns, output.Column[*pb.Calibration]{Name: "verdict", Value: func(c *pb.Calibration) any { return verdictObject(c.GetVerdict()) }})
	return append(columns, entryColumns[*pb.Calibration]()...)
}

// point is one line of a calibration.
type point struct {
	calibration *pb.Calibration
	point       *pb.CalibrationPoint
}

// GetName is that of the calibration.
func (p point) GetName() string { return p.calibration.GetName() }

// GetEntry is that of the calibration.
func (p point) GetEntry() *pb.Entry { return p.calibration.GetEntry() }

func calibrationHead[T any](of func(T) *pb.Calibration) []output.Column[T] {
	return []output.Column[T]{
		{Name: "id", Value: func(t T) any { return ledger.ShortName(of(t).GetName()) }},
		{Name: "serial", Heading: "SERIAL", Value: func(t T) any { return ledger.ShortName(of(t).GetTool()) }},
		{Name: "at", Heading: "AT", Value: func(t T) any { return occurred(of(t).GetEntry()) }},
		{Name: "laboratory", Value: func(t T) any { return text(of(t).GetLaboratory()) }},
		{Name: "certificate", Heading: "CERTIFICATE", Value: func(t T) any { return text(of(t).GetCertificate()) }},
		{Name: "site", Value: func(t T) any { return text(ledger.ShortName(of(t).GetSite())) }},
	}
}

func pointColumns() []output.Column[point] {
	return []output.Column[point]{
		{Name: "phase", Heading: "PHASE", Value: func(p point) any { return text(wordOf(ledger.CalibrationPhases, p.point.GetPhase())) }},
		{Name: "target_n_m", Heading: "N.m", Value: func(p point) any { return p.point.GetTargetNewtonMetres() }},
		{Name: "readings_n_m", Heading: "READINGS", Value: func(p point) any { return p.point.GetReadingsNewtonMetres() }},
		{Name: "expanded_uncertainty_n_m", Heading: "±", Value: func(p point) any { return figure(p.point.GetExpandedUncertaintyNewtonMetres()) }},
		{Name: "coverage_factor", Value: func(p point) any { return figure(p.point.GetCoverageFactor()) }},
	}
}

func calibrationPointColumns() []output.Column[point] {
	columns := calibrationHead(func(p point) *pb.Calibration { return p.calibration })
	columns = append(columns, pointColumns()...)
	columns = append(columns, certificateColumns(func(p point) *pb.Calibration { return p.calibration })...)
	for _, c := range verdictColumns() {
		name := c.Name
		if name == "decision_rule" {
			name = "verdict_rule" // beside the rule that was asked for
		}
		columns = append(columns, output.Column[point]{Name: name, Value: func(p point) any {
			if v := p.calibration.GetVerdict(); v != nil {
				return c.Value(v)
			}
			return nil
		}})
	}
	columns = append(columns, output.Column[point]{Heading: "VERDICT", Text: verdictWord})
	return append(columns, entryColumns[point]()...)
}

// writeCalibrations writes the calibrations that read gives.
func writeCalibrations(a *app, limit int, read fetch[*pb.Calibration], notes ...output.Note) error {
	if a.format == output.JSON {
		return list(a, limit, "calibrations", calibrationColumns(), read)
	}
	w, err := output.New(a.config(), "calibrations", calibrationPointColumns())
	if err != nil {
		return err
	}
	err = pages(limit, read, func(c *pb.Calibration) error {
		for _, p := range c.GetPoints() {
			if err := w.Row(point{c, p}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return w.Close(notes...)
}

func (a *app) calibrationList() *cobra.Command {
	var limit int
	var span span
	request := &pb.ListCalibrationsRequest{}
	cmd := a.command("list", "List calibrations", "A line for each test point; --limit counts calibrations.")
	limitFlag(cmd, &limit)
	narrowedByFlags(cmd)
	f := newFields(cmd)
	f.resource(&request.Tool, "tools", "tool", "tool", "SERIAL", "only of this tool")
	span.flags(f)
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		if limit < 0 {
			return usage("--limit: expected a number of at least 0, got %d", limit)
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		request.StartTime, request.EndTime = span.start(), span.end()
		client := pb.NewToolServiceClient(conn)
		return writeCalibrations(a, limit, func(size int32, token string) ([]*pb.Calibration, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListCalibrations(ctx, request)
			return page.GetCalibrations(), page.GetNextPageToken(), err
		})
	})
}

func (a *app) calibrationShow() *cobra.Command {
	return a.runs(a.command("show ID", "Show a calibration", ""), func(ctx context.Context, args []string) error {
		name, err := resourceArg(args[0], "calibrations")
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		got, err := pb.NewToolServiceClient(conn).GetCalibration(ctx, &pb.GetCalibrationRequest{Name: name})
		if err != nil {
			return err
		}
		return showCalibration(a, got)
	})
}

func showCalibration(a *app, c *pb.Calibration) error {
	return writeCalibrations(a, 0, func(int32, string) ([]*pb.Calibration, string, error) {
		return []*pb.Calibration{c}, "", nil
	}, output.Note{Text: verdictLines(c)})
}
