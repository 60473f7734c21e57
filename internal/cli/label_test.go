package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"jointledger/internal/label"
	pb "jointledger/proto/jointledger/v1"
)

// coded is the code of a name.
func coded(t *testing.T, name string) string {
	t.Helper()
	code, err := label.Code(name)
	if err != nil {
		t.Fatal(err)
	}
	return code
}

func TestUnlabel(t *testing.T) {
	for _, name := range []string{"RVB", "rvb/ct2", "sites/RVB/towers/CT2", "M10-ST-2640C", ""} {
		if got, err := unlabel(name); err != nil || got != name {
			t.Errorf("unlabel(%q) = %q, %v", name, got, err)
		}
	}
	code := coded(t, "RVB/CT2/C3/J014")
	if got, err := unlabel(strings.ToLower(code)); err != nil || got != "RVB/CT2/C3/J014" {
		t.Errorf("unlabel(%q) = %q, %v", code, got, err)
	}
	if _, err := unlabel("RVB/CT2/C3/J015" + code[len(code)-2:]); err == nil || !strings.Contains(err.Error(), "expected the check character") {
		t.Errorf("a mistyped code: %v", err)
	}
}

// Each command takes the code of a place, a lot or a tool for its name, and sends
// nothing when it is mistyped.
func TestCommandsTakeCodes(t *testing.T) {
	joint, lot, tool := "RVB/CT2/C3/J014", "M10-ST-2640C", "TW-RVB-03"
	for _, tc := range []struct {
		method string
		args   []string
	}{
		{"GetJoint", []string{"joint", "show", joint}},
		{"ListJoints", []string{"joint", "list", "RVB/CT2"}},
		{"GetTower", []string{"tower", "show", "RVB/CT2"}},
		{"GetCell", []string{"cell", "show", "RVB/CT2/C3"}},
		{"GetSite", []string{"site", "show", "RVB"}},
		{"GetLot", []string{"lot", "show", lot}},
		{"ListLotStock", []string{"lot", "stock", lot}},
		{"GetTool", []string{"tool", "show", tool}},
		{"RecordTightenings", []string{"tighten", joint, "3", "--lot", lot, "--treatment", "none", "--tool", tool, "--person", "ab"}},
		{"RecordIncidents", []string{"incident", "galling", joint, "--lot", lot, "--treatment", "none", "--tool", tool, "--person", "ab"}},
		{"ListTightenings", []string{"record", "list", "tightenings", "--place", "RVB/CT2", "--lot", lot, "--tool", tool}},
		{"QueryRates", []string{"rate", "--by", "lot", "--site", "RVB", "--lot", lot, "--tool", tool}},
		{"ListDueItems", []string{"due", "--site", "RVB"}},
	} {
		t.Run(strings.Join(tc.args[:2], " "), func(t *testing.T) {
			sent := func(args []string) (int, []byte, string) {
				a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
					if strings.HasPrefix(method, "Record") {
						return taken(), nil
					}
					return &pb.ListSitesResponse{}, nil
				})
				code, _, errOut := run(t, a.address, nil, args...)
				return code, a.requests[tc.method], errOut
			}
			plainCode, plain, errOut := sent(tc.args)
			if plainCode != exitDone || plain == nil && tc.method != "ListDueItems" {
				t.Fatalf("by name: exit %d, %s", plainCode, errOut)
			}
			names := map[string]bool{joint: true, lot: true, tool: true, "RVB": true, "RVB/CT2": true, "RVB/CT2/C3": true}
			withCodes := append([]string(nil), tc.args...)
			for i, arg := range tc.args {
				if !names[arg] {
					continue
				}
				withCodes[i] = coded(t, arg)
				wrong := append([]string(nil), tc.args...)
				wrong[i] = mistyped(withCodes[i])
				if code, request, errOut := sent(wrong); code != exitUsage || request != nil || !strings.Contains(errOut, "expected the check character") {
					t.Errorf("%q mistyped: exit %d, sent %v, %s", wrong, code, request != nil, errOut)
				}
			}
			if code, request, errOut := sent(withCodes); code != exitDone || string(request) != string(plain) {
				t.Errorf("by code: exit %d, the request differs: %s", code, errOut)
			}
		})
	}
}

// mistyped changes the first letter of a code.
func mistyped(code string) string {
	other := "A"
	if code[0] == 'A' {
		other = "B"
	}
	return other + code[1:]
}

func labelServer(t *testing.T) *answering {
	return newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
		switch method {
		case "GetSite":
			return &pb.Site{Name: "sites/RVB", DisplayName: "Riverbend <Works>"}, nil
		case "GetJoint":
			return &pb.Joint{Name: "sites/RVB/towers/CT2/cells/C3/joints/J014", Fasteners: 1}, nil
		case "ListTowers":
			return &pb.ListTowersResponse{Towers: []*pb.Tower{{Name: "sites/RVB/towers/CT10"}, {Name: "sites/RVB/towers/CT2"}}}, nil
		case "ListCells":
			return &pb.ListCellsResponse{Cells: []*pb.Cell{{Name: "sites/RVB/towers/CT2/cells/C3", Description: "north"}}}, nil
		case "ListJoints":
			return &pb.ListJointsResponse{Joints: []*pb.Joint{
				{Name: "sites/RVB/towers/CT2/cells/C3/joints/J014", Kind: pb.JointKind_JOINT_KIND_STRUCTURAL, Critical: true, Fasteners: 24, Specification: "specifications/S1"}}}, nil
		case "ListLots":
			return &pb.ListLotsResponse{Lots: []*pb.Lot{{Name: "lots/M10-ST-2640C", Supplier: "Boltworks", Fastener: &pb.Fastener{Thread: "M10", Material: pb.Material_MATERIAL_304}}, {Name: "lots/m10.b"}}}, nil
		case "ListTools":
			return &pb.ListToolsResponse{}, nil
		}
		return nil, notFound()
	})
}

func TestLabels(t *testing.T) {
	a := labelServer(t)
	code, html, errOut := run(t, a.address, nil, "labels", "rvb")
	if code != exitDone || errOut != "" {
		t.Fatalf("exit %d, %s", code, errOut)
	}
	for _, name := range []string{"RVB", "RVB/CT2", "RVB/CT10", "RVB/CT2/C3", "RVB/CT2/C3/J014"} {
		if want := `<div class="code">` + coded(t, name) + "</div>"; strings.Count(html, want) != 1 {
			t.Errorf("no %s on the page", want)
		}
	}
	if n := strings.Count(html, "<svg "); n != 5 || !strings.Contains(html, "<title>Labels of RVB</title>") || !strings.Contains(html, "Riverbend &lt;Works&gt;") ||
		!strings.Contains(html, "structural, critical, 24 fasteners, S1") {
		t.Errorf("%d symbols in\n%s", n, html)
	}
	_, out, _ := run(t, a.address, nil, "labels", "lots", "-o", "json")
	var got struct {
		Labels []struct{ Code, Name, Kind, Detail string }
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || len(got.Labels) != 2 || got.Labels[0].Code != coded(t, "M10-ST-2640C") ||
		got.Labels[0].Detail != "Boltworks, M10, 304" || got.Labels[0].Kind != "lot" || !strings.HasPrefix(got.Labels[1].Code, "m10.b++") {
		t.Errorf("%v: %s", err, out)
	}
	if code, _, errOut := run(t, a.address, nil, "labels", "tools"); code != exitUnknown || !strings.Contains(errOut, "no tools are registered") {
		t.Errorf("no tools: exit %d, %s", code, errOut)
	}
	if code, _, _ := run(t, a.address, nil, "labels", "rvb/ct9"); code != exitUnknown {
		t.Errorf("a tower that is not known: exit %d", code)
	}
	// A joint alone, by its own code.
	if code, html, _ := run(t, a.address, nil, "labels", coded(t, "RVB/CT2/C3/J014")); code != exitDone || strings.Count(html, "<svg ") != 1 {
		t.Errorf("one joint: exit %d", code)
	}
}

func TestLabelsToAFile(t *testing.T) {
	a := labelServer(t)
	file := filepath.Join(t.TempDir(), "rvb.html")
	code, out, errOut := run(t, a.address, nil, "labels", "rvb", "--file", file)
	if code != exitDone || out != "written: 5 labels in "+file+"\n" {
		t.Errorf("exit %d, %q, %s", code, out, errOut)
	}
	page, err := os.ReadFile(file)
	if err != nil || strings.Count(string(page), "<article>") != 5 || !strings.HasSuffix(string(page), "</html>\n") {
		t.Errorf("%v: %d bytes", err, len(page))
	}
	if code, out, errOut := run(t, a.address, nil, "labels", "rvb", "--file", filepath.Join(file, "x")); code != exitCantWrite || out != "" || !strings.Contains(errOut, "the page can't be written: ") {
		t.Errorf("exit %d, %q, %s", code, out, errOut)
	}
}
