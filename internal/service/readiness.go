package service

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// asOf is the moment to look from; now when not given.
func (s readinessService) asOf(p *problems, t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return ledger.Microseconds(s.now())
	}
	return p.Time("as_of_time", t)
}

// QueryReadiness says whether the tools at a place fill a kit list.
func (s readinessService) QueryReadiness(ctx context.Context, r *pb.QueryReadinessRequest) (*pb.QueryReadinessResponse, error) {
	var p problems
	place := p.PlaceBetween("place", r.Place, 1, 3)
	asOf := s.asOf(&p, r.AsOfTime)
	kit, kinds := kitFrom(&p, r.Kit)
	if _, err := time.Parse(time.DateOnly, r.FinishDate); r.FinishDate != "" && err != nil {
		p.Add("finish_date", "%q is not a date; expected YYYY-MM-DD", r.FinishDate)
	}
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	in, err := s.store.ReadyInput(ctx, place, kinds, asOf)
	if err != nil {
		return nil, err
	}
	o := analysis.ReadyOptions{Site: place.Site, Location: in.Location, AsOf: asOf, Finish: r.FinishDate}
	if o.Finish == "" {
		o.Finish = in.PlannedFinish
	}
	if o.Finish == "" {
		return nil, ledger.InvalidField("request", "finish_date", "is not given, and %s has no planned finish; expected YYYY-MM-DD", place)
	}
	a, err := analysis.Ready(kit, in.Tools, o)
	if err != nil {
		return nil, kitFields(err, r.FinishDate == "")
	}
	resp := &pb.QueryReadinessResponse{
		Ready: a.Ready, Verdict: a.Verdict, FinishDate: o.Finish, FinishPlanned: r.FinishDate == "", AsOfTime: wire.Timestamp(asOf),
		Method: a.Method, Assumption: a.Assumption, Cautions: a.Cautions,
	}
	for i, l := range a.Lines {
		resp.Lines = append(resp.Lines, &pb.KitLineAnswer{
			Line: r.Kit[i], Have: int32(l.Have), Short: int32(l.Short), Tools: toolNames(l.Tools), Refused: refusalsTo(l.Refused), Sentence: l.Sentence,
		})
	}
	return resp, nil
}

// mostKitNote bounds the note of a line, which is only handed back.
const mostKitNote = 500

func kitFrom(p *problems, lines []*pb.KitLine) (kit []analysis.KitLine, kinds []ledger.ToolKind) {
	if len(lines) == 0 {
		p.Add("kit", "has no lines; expected at least one")
	}
	for i, l := range lines {
		at := fmt.Sprintf("kit[%d].", i)
		if l == nil {
			p.Add(at+"kind", "is not given; expected one of %s", strings.Join(ledger.ToolKinds.All(), ", "))
			continue
		}
		kind := wire.Known(p, at+"kind", ledger.ToolKinds, l.Kind)
		if l.Kind == 0 {
			p.Add(at+"kind", "is not given; expected one of %s", strings.Join(ledger.ToolKinds.All(), ", "))
		}
		if len(l.Note) > mostKitNote {
			p.Add(at+"note", "has %d bytes; expected at most %d", len(l.Note), mostKitNote)
		}
		for _, f := range []struct {
			name  string
			value float64
		}{{"lowest_newton_metres", l.LowestNewtonMetres}, {"highest_newton_metres", l.HighestNewtonMetres}, {"load_kilograms", l.LoadKilograms}} {
			if math.IsNaN(f.value) || math.IsInf(f.value, 0) {
				p.Add(at+f.name, "is no number; expected 0 for no need, or a number above 0")
			}
		}
		kinds = append(kinds, kind)
		kit = append(kit, analysis.KitLine{
			Kind: kind, Quantity: int(l.Quantity), LowestNewtonMetres: l.LowestNewtonMetres, HighestNewtonMetres: l.HighestNewtonMetres,
			CapacityKilograms: l.LoadKilograms, Note: l.Note,
		})
	}
	return kit, kinds
}

// kitFieldNames are the names in the API of what the question calls otherwise.
var kitFieldNames = strings.NewReplacer(".lowest_torque", ".lowest_newton_metres", ".highest_torque", ".highest_newton_metres", ".capacity", ".load_kilograms")

// kitFields names the fields of an error as the API has them.
func kitFields(err error, planned bool) error {
	var e *ledger.Error
	if !errors.As(err, &e) {
		return err
	}
	fields := make([]ledger.FieldError, len(e.Fields))
	for i, f := range e.Fields {
		f.Field = kitFieldNames.Replace(f.Field)
		if f.Field == "finish" {
			f.Field = "finish_date"
			if planned {
				f.Description = "is not given, and the planned finish " + f.Description
			}
		}
		fields[i] = f
	}
	return ledger.Invalid("request", fields)
}
