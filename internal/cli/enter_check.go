package cli

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/grpc"

	"jointledger/internal/carry/pack"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// checkBatch is how many lines the server checks at a time.
const checkBatch = 500

// checkLines checks lines that are right in themselves against what is known: by the
// server where it can be reached, else by what this device carries. It says by which.
func (a *app) checkLines(ctx context.Context, lines []*enteredLine) (by string, err error) {
	conn, err := a.reachable(ctx)
	if err != nil {
		return "", err
	}
	if conn != nil {
		return "by the server", a.checkByServer(ctx, conn, lines)
	}
	carried := map[string]*pack.Pack{}
	for _, l := range lines {
		site := l.place.Site
		if _, looked := carried[site]; !looked {
			p, ok, err := a.carriedFor(site)
			if err != nil {
				return "", err
			}
			if carried[site] = nil; ok {
				carried[site] = p
				by = "by data of " + dateOfData(p)
			}
		}
		if p := carried[site]; p != nil {
			l.checkNames(p)
		}
	}
	if by == "" {
		by = "in their form only, since the server can't be reached and no data are carried"
	}
	return by, nil
}

// reachable is the connection to a server that can be reached now; nil when none can.
func (a *app) reachable(ctx context.Context) (*grpc.ClientConn, error) {
	if a.settings.offlineOnly {
		return nil, nil
	}
	conn, err := a.dial()
	if err != nil {
		return nil, err
	}
	if reach(ctx, conn, connectPatience) != nil {
		return nil, ctx.Err()
	}
	return conn, nil
}

// checkNames notes names that the carried data do not have.
func (l *enteredLine) checkNames(p *pack.Pack) {
	r, _ := wire.RecordFrom(l.record)
	for _, name := range known.Missing(p, r) {
		l.fail(fieldNaming(name), fmt.Sprintf("%s; trackctl carry %s brings new ones", notCarried(p, name), p.Site().Code))
	}
}

// fieldNaming is the field of a record that names a thing of the collection; the
// record's own name for none.
func fieldNaming(resource string) string {
	collection, _, _ := strings.Cut(resource, "/")
	field := map[string]string{"sites": "joint", "lots": "lot", "tools": "tool", "people": "entry.person"}[collection]
	if field == "" {
		return "name"
	}
	return field
}

// checkByServer has the server check the lines and keep nothing.
func (a *app) checkByServer(ctx context.Context, conn *grpc.ClientConn, lines []*enteredLine) error {
	for _, k := range lineKinds {
		var batch []*enteredLine
		flush := func() error {
			outcomes, err := validateOnly(ctx, conn, batch)
			if err != nil {
				return a.callFailure(err, nil)
			}
			if len(outcomes) != len(batch) {
				return &failure{code: exitInternal, message: fmt.Sprintf("the server answered for %d lines of %d", len(outcomes), len(batch))}
			}
			for i, o := range outcomes {
				if o.GetState() == pb.Outcome_STATE_REFUSED {
					batch[i].refused(o.GetRefusal())
				}
			}
			batch = batch[:0]
			return nil
		}
		for _, l := range lines {
			if l.kind != k.kind {
				continue
			}
			if batch = append(batch, l); len(batch) == checkBatch {
				if err := flush(); err != nil {
					return err
				}
			}
		}
		if len(batch) > 0 {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

func validateOnly(ctx context.Context, conn *grpc.ClientConn, lines []*enteredLine) ([]*pb.Outcome, error) {
	records := make([]record, len(lines))
	for i, l := range lines {
		records[i] = l.record
	}
	assembly, inspection := pb.NewAssemblyServiceClient(conn), pb.NewInspectionServiceClient(conn)
	switch lines[0].kind {
	case ledger.KindTightening:
		return outcomesOf(assembly.RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: ofKind[*pb.Tightening](records), ValidateOnly: true}))
	case ledger.KindIncident:
		return outcomesOf(assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: ofKind[*pb.Incident](records), ValidateOnly: true}))
	case ledger.KindSealing:
		return outcomesOf(inspection.RecordSealings(ctx, &pb.RecordSealingsRequest{Sealings: ofKind[*pb.Sealing](records), ValidateOnly: true}))
	default: // the others go on below
	}
	return outcomesOf(inspection.RecordInspections(ctx, &pb.RecordInspectionsRequest{Inspections: ofKind[*pb.Inspection](records), ValidateOnly: true}))
}

// refused notes why the server would refuse a line.
func (l *enteredLine) refused(r *pb.Refusal) {
	if len(r.GetFieldViolations()) > 0 {
		for _, v := range r.GetFieldViolations() {
			l.fail(v.GetField(), v.GetDescription())
		}
		return
	}
	l.fail(fieldNaming(r.GetResourceName()), r.GetMessage())
}
