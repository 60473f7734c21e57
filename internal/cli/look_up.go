package cli

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// lookUp finds what an entry needs and nobody typed: the hold that it releases, the
// place where a tool is. The server is asked while it answers at once, since others may
// have changed it; else what this device carries tells. A device that carries nothing
// asks the server and waits for it.
func lookUp[T any](ctx context.Context, a *app, ask func(context.Context, *grpc.ClientConn) (T, error), here func() (T, error)) (T, error) {
	var none T
	carries := a.carriesAny()
	conn, err := a.connToAsk(ctx, carries)
	if err != nil {
		return none, err
	}
	if conn == nil {
		return here()
	}
	bounded := ctx
	if carries {
		var cancel context.CancelFunc
		bounded, cancel = context.WithTimeout(ctx, answerPatience)
		defer cancel()
	}
	found, err := ask(bounded, conn)
	if carries && ctx.Err() == nil && unanswered(err) {
		if box, boxErr := a.deviceOutbox(); boxErr == nil {
			box.MarkFailed(a.now(), "")
		}
		return here()
	}
	if !carries && unanswered(err) {
		return found, a.withoutData(a.callFailure(err, nil))
	}
	return found, err
}

// withoutData adds to the failure of an entry that a server out of reach was the cause
// of, on a device that carries nothing, what makes entries work all the same.
func (a *app) withoutData(f *failure) *failure {
	if f.code == exitUnavailable && !a.carriesAny() {
		f.lines = append(f.lines, carryLine)
	}
	return f
}

// unanswered says that the server said nothing, rather than no.
func unanswered(err error) bool {
	switch status.Code(err) {
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled:
		return err != nil
	default: // the others go on below
	}
	return false
}

// connToAsk is the connection to a server that an entry can ask first. Where this device
// carries data it is nil unless the server answers at once and has all that was entered
// before: one that lacks it would tell how things were. It is nil with --offline-only.
func (a *app) connToAsk(ctx context.Context, carries bool) (*grpc.ClientConn, error) {
	if a.settings.offlineOnly {
		return nil, nil
	}
	if !carries {
		return a.dial()
	}
	box, err := a.deviceOutbox()
	if err != nil {
		return nil, err
	}
	count, err := box.Count()
	a.tellDamage(box)
	if err != nil {
		return nil, &failure{code: exitIO, message: err.Error()}
	}
	if count.Waiting > 0 {
		if t := a.trySending(ctx, box, count); t.why != "" || t.left.Waiting > 0 {
			return nil, ctx.Err()
		}
		return a.conn, nil
	}
	if a.failedLately(box) {
		return nil, nil
	}
	conn, err := a.dial()
	if err != nil {
		return nil, err
	}
	if err := reach(ctx, conn, connectPatience); err != nil {
		box.MarkFailed(a.now(), a.lineProblem(status.Convert(err).Message()))
		return nil, ctx.Err()
	}
	return conn, nil
}

// failedLately says that the server could not be reached a moment ago, so that it is
// not tried by itself.
func (a *app) failedLately(box *outbox.Outbox) bool {
	last, _, failed := box.FailedSince()
	return failed && a.now().Sub(last) < retryAfter && !a.now().Before(last)
}

// carriesAny says whether this device carries data of any site.
func (a *app) carriesAny() bool {
	folder, err := a.deviceFolder()
	return err == nil && carriedIn(folder, "")
}

// nothingCarried tells that what an entry needs can be looked up nowhere, and what to do
// about it.
func (a *app) nothingCarried(what string) *failure {
	why := fmt.Sprintf("the server at %s can't be reached", a.settings.server)
	if a.settings.offlineOnly {
		why = "the server is not asked (offline-only)"
	}
	return &failure{code: exitUnavailable, message: fmt.Sprintf("%s: %s, and this device carries no data that can be read", what, why), lines: []string{carryLine}}
}

// carryLine says how entries come to work without a signal.
const carryLine = "trackctl carry SITE, where there is a signal, brings the data of a site to this device: entries then work without one"

// notKnownHere tells that no carried data know a thing.
func (a *app) notKnownHere(resource string, packs []*pack.Pack, lines ...string) *failure {
	f := &failure{code: exitUnknown, message: notCarried(packs[0], resource), lines: lines}
	if len(packs) > 1 {
		var sites []string
		for _, p := range packs {
			sites = append(sites, p.Site().Code)
		}
		collection, name, _ := strings.Cut(resource, "/")
		if kind, ok := carriedKinds()[collection]; ok {
			name = "the " + kind.word + " " + name
		} else {
			name = resource
		}
		f.message = fmt.Sprintf("the carried data of %s do not know %s", strings.Join(sites, ", "), name)
	}
	return f
}

// carriedTool finds a tool in the newest of the carried data that know it. The failure
// tells of lines what can be done where none does.
func (a *app) carriedTool(tool string, lines ...string) (*pack.Pack, known.ToolPast, error) {
	packs := a.allPacks()
	if len(packs) == 0 {
		return nil, known.ToolPast{}, a.nothingCarried("the tool " + ledger.ShortName(tool) + " can't be looked up")
	}
	var newest *pack.Pack
	var past known.ToolPast
	for _, p := range packs {
		t, ok := p.Tool(ledger.ShortName(tool))
		if err := p.Err(); err != nil {
			return nil, past, carriedFailure(p.Site().Code, err)
		}
		if ok && (newest == nil || p.AsOf().After(newest.AsOf())) {
			newest, past = p, t
		}
	}
	if newest == nil {
		return nil, past, a.notKnownHere(tool, packs, lines...)
	}
	return newest, past, nil
}
