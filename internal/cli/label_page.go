package cli

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"jointledger/internal/cli/labelpage"
	"jointledger/internal/cli/output"
	"jointledger/internal/label"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

const labelsHelp = `PLACE is a site, tower, cell or joint: the labels are those of it and of all that is in
it. Each holds a QR code and, under it, the short code that the QR code stands for: the
name, a plus sign, and a check character (ISO/IEC 7064, MOD 37,36). Every command takes
the code wherever it takes a place, a lot or a tool, and refuses one that is mistyped.
Two plus signs say that the name has small letters, which then matter.

The page is HTML that needs nothing from elsewhere and prints on A4 and US letter. It
goes to standard output, or to --file. JSON and CSV list the codes instead, for a label
printer.`

// newLabelsCommand makes the command that draws labels.
func newLabelsCommand(a *app) *cobra.Command {
	var file string
	cmd := a.command("labels PLACE|lots|tools", "A page of labels with QR codes, to be printed", labelsHelp)
	cmd.Example = "  trackctl labels rvb/ct2/c3 --file c3.html\n  trackctl labels lots > lots.html\n  trackctl labels tools --output csv"
	f := newFields(cmd)
	f.text(&file, "file", "", "write the page to `FILE`")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		what, err := labelled(args[0])
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		things, err := what.read(ctx, conn)
		if err != nil {
			return err
		}
		if len(things) == 0 {
			return &failure{code: exitUnknown, message: "there is nothing to label: no " + what.title + " are registered"}
		}
		return a.tellLabels("Labels of "+what.title, things, file)
	})
}

// thingLabel is one thing that is labelled.
type thingLabel struct {
	name, kind, detail, code string
}

// labelSet is what labels are asked of.
type labelSet struct {
	title string
	read  func(ctx context.Context, conn *grpc.ClientConn) ([]thingLabel, error)
}

// labelled reads the argument of `labels`. A site may have the code LOTS, but
// `lots` in small letters means the lots.
func labelled(arg string) (labelSet, error) {
	switch arg {
	case "lots":
		return labelSet{"lots", readLotLabels}, nil
	case "tools":
		return labelSet{"tools", readToolLabels}, nil
	}
	place, err := placeArg(arg, 1, 2, 3, 4)
	if err != nil {
		return labelSet{}, err
	}
	return labelSet{place.String(), func(ctx context.Context, conn *grpc.ClientConn) ([]thingLabel, error) {
		return readPlaceLabels(ctx, conn, place)
	}}, nil
}

func readLotLabels(ctx context.Context, conn *grpc.ClientConn) ([]thingLabel, error) {
	var things []thingLabel
	client := pb.NewLotServiceClient(conn)
	err := pages(0, func(size int32, token string) ([]*pb.Lot, string, error) {
		page, err := client.ListLots(ctx, &pb.ListLotsRequest{PageSize: size, PageToken: token})
		return page.GetLots(), page.GetNextPageToken(), err
	}, func(l *pb.Lot) error {
		detail := sentence(l.GetSupplier(), l.GetFastener().GetThread(), wordOf(ledger.Materials, l.GetFastener().GetMaterial()))
		things = append(things, thingLabel{name: ledger.ShortName(l.GetName()), kind: "lot", detail: detail})
		return nil
	})
	return things, err
}

func readToolLabels(ctx context.Context, conn *grpc.ClientConn) ([]thingLabel, error) {
	var things []thingLabel
	client := pb.NewToolServiceClient(conn)
	err := pages(0, func(size int32, token string) ([]*pb.Tool, string, error) {
		page, err := client.ListTools(ctx, &pb.ListToolsRequest{PageSize: size, PageToken: token})
		return page.GetTools(), page.GetNextPageToken(), err
	}, func(t *pb.Tool) error {
		detail := sentence(wordOf(ledger.ToolKinds, t.GetKind()), ledger.ShortName(t.GetHomeSite()))
		things = append(things, thingLabel{name: ledger.ShortName(t.GetName()), kind: "tool", detail: detail})
		return nil
	})
	return things, err
}

// readPlaceLabels reads a place and all that is in it, in the order in which one
// walks through it: a tower, its cells, each with its joints.
func readPlaceLabels(ctx context.Context, conn *grpc.ClientConn, place ledger.Place) ([]thingLabel, error) {
	own, err := ownLabel(ctx, conn, place)
	if err != nil {
		return nil, err
	}
	things := []thingLabel{own}
	collect := func(name, kind, detail string) {
		things = append(things, thingLabel{name: ledger.ShortName(name), kind: kind, detail: detail})
	}
	client := pb.NewStructureServiceClient(conn)
	if place.Depth() < 2 {
		err = pages(0, func(size int32, token string) ([]*pb.Tower, string, error) {
			page, err := client.ListTowers(ctx, &pb.ListTowersRequest{Parent: everywhere(place, 1), PageSize: size, PageToken: token})
			return page.GetTowers(), page.GetNextPageToken(), err
		}, func(t *pb.Tower) error {
			collect(t.GetName(), "tower", wordOf(ledger.Materials, t.GetMaterial()))
			return nil
		})
	}
	if err == nil && place.Depth() < 3 {
		err = pages(0, func(size int32, token string) ([]*pb.Cell, string, error) {
			page, err := client.ListCells(ctx, &pb.ListCellsRequest{Parent: everywhere(place, 2), PageSize: size, PageToken: token})
			return page.GetCells(), page.GetNextPageToken(), err
		}, func(c *pb.Cell) error {
			collect(c.GetName(), "cell", c.GetDescription())
			return nil
		})
	}
	if err == nil && place.Depth() < 4 {
		err = pages(0, func(size int32, token string) ([]*pb.Joint, string, error) {
			page, err := client.ListJoints(ctx, &pb.ListJointsRequest{Parent: everywhere(place, 3), PageSize: size, PageToken: token})
			return page.GetJoints(), page.GetNextPageToken(), err
		}, func(j *pb.Joint) error {
			collect(j.GetName(), "joint", jointDetail(j))
			return nil
		})
	}
	slices.SortStableFunc(things, func(a, b thingLabel) int {
		return slices.Compare(strings.Split(a.name, "/"), strings.Split(b.name, "/"))
	})
	return things, err
}

func jointDetail(j *pb.Joint) string {
	critical := ""
	if j.GetCritical() {
		critical = "critical"
	}
	return sentence(wordOf(ledger.JointKinds, j.GetKind()), critical, counted(int(j.GetFasteners()), "fastener"), ledger.ShortName(j.GetSpecification()))
}

// ownLabel reads the place itself, which must exist.
func ownLabel(ctx context.Context, conn *grpc.ClientConn, place ledger.Place) (thingLabel, error) {
	l := thingLabel{name: place.String(), kind: place.PlaceKind()}
	client := pb.NewStructureServiceClient(conn)
	name := place.Resource()
	switch place.Depth() {
	case 1:
		s, err := client.GetSite(ctx, &pb.GetSiteRequest{Name: name})
		l.detail = s.GetDisplayName()
		return l, err
	case 2:
		t, err := client.GetTower(ctx, &pb.GetTowerRequest{Name: name})
		l.detail = wordOf(ledger.Materials, t.GetMaterial())
		return l, err
	case 3:
		c, err := client.GetCell(ctx, &pb.GetCellRequest{Name: name})
		l.detail = c.GetDescription()
		return l, err
	}
	j, err := client.GetJoint(ctx, &pb.GetJointRequest{Name: name})
	l.detail = jointDetail(j)
	return l, err
}

func labelColumns() []output.Column[thingLabel] {
	return []output.Column[thingLabel]{
		{Name: "code", Heading: "CODE", Value: func(l thingLabel) any { return l.code }},
		{Name: "name", Value: func(l thingLabel) any { return l.name }},
		{Name: "kind", Heading: "KIND", Value: func(l thingLabel) any { return l.kind }},
		{Name: "detail", Heading: "DETAIL", Value: func(l thingLabel) any { return text(l.detail) }},
	}
}

// tellLabels gives the things their codes and writes the page, or their list.
func (a *app) tellLabels(title string, things []thingLabel, file string) error {
	page := labelpage.Page{Title: title}
	for i, l := range things {
		code, err := label.Code(l.name)
		if err != nil {
			return &failure{code: exitInternal, message: err.Error()}
		}
		things[i].code = code
		page.Labels = append(page.Labels, labelpage.Label{Code: code, Kind: l.kind, Detail: l.detail})
	}
	if file != "" {
		if err := writePage(page, file); err != nil {
			return err
		}
	}
	switch {
	case a.format != output.Table:
		w, err := output.New(a.config(), "labels", labelColumns())
		if err != nil {
			return err
		}
		for _, l := range things {
			if err := w.Row(l); err != nil {
				return err
			}
		}
		return w.Close()
	case file != "":
		_, err := fmt.Fprintf(a.out, "written: %s in %s\n", counted(len(things), "label"), output.Printable(file))
		return err
	}
	return page.Write(a.out)
}

// writePage writes the page to a file, which is left alone unless the whole page
// can be made.
func writePage(page labelpage.Page, file string) error {
	var b bytes.Buffer
	if err := page.Write(&b); err != nil {
		return &failure{code: exitInternal, message: err.Error()}
	}
	if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
		return &failure{code: exitCantWrite, message: fmt.Sprintf("the page can't be written: %v", err)}
	}
	return nil
}
