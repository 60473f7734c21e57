package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"google.golang.org/grpc"

	"jointledger/internal/carry/pack"
	packed "jointledger/internal/carry/section"
	"jointledger/internal/cli/output"
	pb "jointledger/proto/jointledger/v1"
)

// bringCarried refreshes sites, or brings them for the first time; all that this
// device carries when none is named. What was brought before a failure stays.
func (a *app) bringCarried(ctx context.Context, sites []string) error {
	if len(sites) == 0 {
		carried, err := a.sitesCarried()
		if err != nil {
			return err
		}
		if len(carried) == 0 {
			return usage("carry needs a SITE: this device carries none yet")
		}
		sites = carried
	}
	var rows []carriedSite
	var cautions []string
	var failed error
	for _, site := range sites {
		row, err := a.bring(ctx, site)
		if err != nil {
			failed = err
			break
		}
		rows = append(rows, row)
		cautions = append(cautions, a.ageCautions(row.pack)...)
	}
	if len(rows) == 0 && failed != nil {
		return failed
	}
	if a.format != output.Table {
		return errors.Join(a.carriedRows(rows, cautions), failed)
	}
	for _, r := range rows {
		if _, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(broughtLine(r)))); err != nil {
			return err
		}
	}
	for _, line := range cautionNote(cautions).Text {
		if _, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(line))); err != nil {
			return err
		}
	}
	return failed
}

// bring gets the data of one site, as far as this device does not have them, and
// puts them in the place of the old.
func (a *app) bring(ctx context.Context, site string) (carriedSite, error) {
	row := carriedSite{site: site, state: "carried"}
	folder, err := a.carriedFolder()
	if err != nil {
		return row, err
	}
	// Damage is mended by bringing anew what was lost.
	old, ok, err := a.carriedFor(site)
	if err != nil || !ok {
		old = nil
	}
	received, err := a.bringOver(ctx, folder, site, old)
	if err != nil {
		return row, err
	}
	for _, frame := range received {
		row.received++
		row.receivedBytes += int64(len(frame))
	}
	if old != nil {
		// It reads a file that has no name any more.
		_ = old.Close()
	}
	delete(a.carried, site)
	p, _, err := a.carriedFor(site)
	if err != nil {
		return row, err
	}
	row.pack, row.sections, row.counts = p, p.Sections(), countsOf(p)
	if p.Err() != nil {
		return row, carriedFailure(site, p.Err())
	}
	return row, nil
}

// bringOver gets what the old data of a site, nil for none, do not have, and puts the
// whole in their place. It gives what came; the old data may still be read.
func (a *app) bringOver(ctx context.Context, folder, site string, old *pack.Pack) (map[packed.Sum][]byte, error) {
	frames := old.Frames()
	head, received, err := a.receiveCarried(ctx, site, frames)
	if err != nil {
		return nil, err
	}
	for sum, frame := range received {
		frames[sum] = frame
	}
	if _, err := pack.Replace(folder, head, frames); err != nil {
		return nil, &failure{code: exitCantWrite, message: fmt.Sprintf("the carried data of %s can't be kept on this device: %v", site, err),
			lines: []string{"what it carried before is untouched"}}
	}
	return received, nil
}

// receiveCarried asks the server for the sections that are not among the frames, and
// checks each.
func (a *app) receiveCarried(ctx context.Context, site string, had map[packed.Sum][]byte) (head pack.Head, received map[packed.Sum][]byte, err error) {
	conn, err := a.dial()
	if err != nil {
		return head, nil, err
	}
	request := &pb.GetCarriedSiteRequest{Site: "sites/" + site}
	for sum := range had {
		request.KnownSha256 = append(request.KnownSha256, sum[:])
	}
	// What ends the stream early, here, ends it at the server too.
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := pb.NewCarryServiceClient(conn).GetCarriedSite(ctx, request)
	if err != nil {
		return head, nil, err
	}
	first, err := stream.Recv()
	if errors.Is(err, io.EOF) {
		return head, nil, wrongCarried(site, errors.New("nothing came"))
	}
	if err != nil {
		return head, nil, err
	}
	head, sums, err := headOf(site, first.GetHead())
	if err != nil {
		return head, nil, err
	}
	missing := map[packed.Sum]bool{}
	for _, s := range head.Sections {
		if _, ok := had[s.Sum]; !ok {
			missing[s.Sum] = true
		}
	}
	received, err = a.receiveSections(stream, site, sums, len(missing))
	if err == nil && len(received) < len(missing) {
		err = wrongCarried(site, fmt.Errorf("%d of %s came", len(received), counted(len(missing), "part")))
	}
	return head, received, err
}

// receiveSections receives what follows the head: as many sections as are missing,
// each with the sum that the head has for it.
func (a *app) receiveSections(stream grpc.ServerStreamingClient[pb.GetCarriedSiteResponse], site string, sums map[string]packed.Sum, missing int) (map[packed.Sum][]byte, error) {
	line := arrivalLine{out: a.err, terminal: isTerminal(a.err), site: site, of: missing}
	defer line.clear()
	received := map[packed.Sum][]byte{}
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return received, nil
		}
		if err != nil {
			return nil, err
		}
		name, frame := m.GetSection().GetName(), m.GetSection().GetContentZstd()
		sum, named := sums[name]
		if !named {
			return nil, wrongCarried(site, fmt.Errorf("its list has no section %q", name))
		}
		if _, err := packed.Unpack(name, frame, sum); err != nil {
			return nil, wrongCarried(site, err)
		}
		received[sum] = frame
		line.show(len(received))
	}
}

// headOf reads the head of the data of a site.
func headOf(site string, m *pb.CarriedHead) (pack.Head, map[string]packed.Sum, error) {
	sumOf := func(b []byte) (packed.Sum, error) {
		if len(b) != len(packed.Sum{}) {
			return packed.Sum{}, wrongCarried(site, fmt.Errorf("a sum has %d bytes", len(b)))
		}
		return packed.Sum(b), nil
	}
	head := pack.Head{Site: site}
	if m.GetSite() != "sites/"+site || m.GetAsOfTime().CheckValid() != nil {
		return head, nil, wrongCarried(site, errors.New("it does not begin with what the data are of"))
	}
	head.AsOf = m.GetAsOfTime().AsTime()
	var err error
	if head.RulesSum, err = sumOf(m.GetRulesSha256()); err != nil {
		return head, nil, err
	}
	sums := map[string]packed.Sum{}
	for _, s := range m.GetSections() {
		sum, err := sumOf(s.GetSha256())
		if err != nil {
			return head, nil, err
		}
		sums[s.GetName()] = sum
		head.Sections = append(head.Sections, pack.Named{Name: s.GetName(), Sum: sum})
	}
	return head, sums, nil
}

// wrongCarried tells of an answer that can't be what the server meant to send.
func wrongCarried(site string, why error) *failure {
	return &failure{code: exitInternal, message: fmt.Sprintf("the server's answer with the data of %s is wrong: %v", site, why),
		lines: []string{"what this device carried before is untouched"}}
}

// arrivalLine is one line on a terminal that says how much has come.
type arrivalLine struct {
	out      io.Writer
	terminal bool
	site     string
	of       int
	shown    time.Time
}

func (l *arrivalLine) show(n int) {
	if !l.terminal || time.Since(l.shown) < 100*time.Millisecond && n < l.of {
		return
	}
	l.shown = time.Now()
	fmt.Fprintf(l.out, "\r\x1b[K%s: %d of %s", l.site, n, counted(l.of, "part"))
}

func (l *arrivalLine) clear() {
	if !l.shown.IsZero() {
		fmt.Fprint(l.out, "\r\x1b[K")
	}
}
