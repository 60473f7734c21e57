package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "jointledger/proto/jointledger/v1"
)

// A mistake on the command line exits with 64, names what was meant, and never
// reaches for the network.
func TestUsage(t *testing.T) {
	for _, tc := range []struct{ args, want string }{
		{"sit", `trackctl has no command "sit"; did you mean site?`},
		{"xyzzy", `trackctl has no command "xyzzy"; it has alarm, alarm-rule, alarms, at, attach, attachment, attachments, batch, `},
		{"site lst", `trackctl site has no command "lst"; did you mean list?`},
		{"site", "Usage:"},
		{"site show", "trackctl site show takes SITE; got 0 of 1 argument"},
		{"site list RVB", "trackctl site list takes no arguments; got 1 of 0 arguments"},
		{"site list --regoin x", "trackctl site list has no flag --regoin; did you mean --region?"},
		{"site list --nothing-like-it", "has no flag --nothing-like-it; see trackctl site list --help"},
		{"site list -o xml", `--output: expected one of table, json, csv, parquet, got "xml"`},
		{"site list --limit -1", "--limit: expected a number of at least 0, got -1"},
		{"site list --timeout 0s", "--timeout: expected a time above 0"},
		{"site show RVB/CT1", `"RVB/CT1" is a tower; expected a site such as RVB`},
		{"site add RVB --name x", "trackctl site add needs --time-zone"},
		{"site set RVB", "trackctl site set changes what its flags say, and there are none"},
		{"joint show rvb/ct1", `"rvb/ct1" is a tower; expected a joint such as RVB/CT2/C3/J014`},
		{"joint list a/b/c/d", `"a/b/c/d" is a joint; expected a site such as RVB or a tower such as RVB/CT2 or a cell such as RVB/CT2/C3`},
		{"lot show a/b", `"a/b" is not a name in lots`},
		{"tighten rvb/ct1/c1/j1 x --lot L --treatment none --person p", `FASTENERS: expected a whole number from 1 to 100000, got "x"`},
		{"tighten rvb/ct1/c1/j1 1 --person p", "trackctl tighten needs --lot, --treatment"},
		{"tighten rvb/ct1/c1/j1 1 --lot L --treatment none", "expected who reports it: --person, or JOINTLEDGER_PERSON"},
		{"tighten rvb/ct1/c1/j1 1 --treatment ant-seize", "--treatment: \"ant-seize\" is not a thread treatment (did you mean anti-seize?)"},
		{"tighten rvb/ct1/c1/j1 1 --at 2026-03-02T07:25:00", `--at: expected a time with its zone such as 2026-03-02T07:25:00+01:00, got "2026-03-02T07:25:00"`},
		{"tighten rvb/ct1/c1/j1 1 --torque 32", "--torque: \"32\": 32 has no unit"},
		{"tighten rvb/ct1/c1/j1 1 --torque -3N.m", "--torque: "},
		{"tighten rvb/ct1/c1/j1 1 --id 7", `--id: expected a UUIDv7, got "7"`},
		{"incident gall rvb/ct1/c1/j1", `"gall" is not a`},
		{"incident galling rvb --lot L --treatment none", `"rvb" is a site; expected a joint such as RVB/CT2/C3/J014`},
		{"incident leak rvb/ct1", `"rvb/ct1" is a tower; expected a site such as RVB or a joint`},
		{"rate --by regoin", `--by: "regoin" is not a grouping (did you mean region?)`},
		{"rate --from 2026-02-30", `--from: expected a date YYYY-MM-DD, got "2026-02-30"`},
		{"due --within 30", `--within: expected hours, days or weeks such as 12h, 30d or 6w, got "30"`},
		{"due --within 99999999999d", "--within: expected a stretch of at most"},
		{"calibration add T1", "needs at least one --as-found or --as-left"},
		{"calibration add T1 --as-left 24", `--as-left: expected TARGET: READING;READING`},
		{"calibration add T1 --as-left 24:24,1", `--as-left: reading: expected a number with a decimal point, got "24,1" with a comma`},
		{"movement add received L many --site rvb", `QUANTITY: expected a whole number from 1 to 100000000, got "many"`},
		{"seal rvb/ct1/c1 --sealant strip", `"rvb/ct1/c1" is a cell; expected a joint`},
		{"seal rvb/ct1/c1/j1 --person p", "trackctl seal needs --sealant"},
		{"seal rvb/ct1/c1/j1 --sealant s --humidity damp", `--humidity: expected a number such as 12.5, got "damp"`},
		{"seal rvb/ct1/c1/j1 --sealant s --surface 4", "--surface: "},
		{"seal rvb/ct1/c1/j1 --sealant s --splice middle", `--splice: "middle" is not a splice`},
		{"seal rvb/ct1/c1/j1 --sealant s --cleaned-at 07:25", "--cleaned-at: expected a time with its zone"},
		{"seal rvb/ct1/c1/j1 --sealant s --flange-straight=perhaps", `--flange-straight: expected true or false, got "perhaps"`},
		{"inspect torque rvb/ct1/c1/j1", `KIND: "torque" is not an inspection kind`},
		{"inspect visual rvb/ct1/c1/j1 --result good", `--result: "good" is not an inspection result`},
		{"inspect torque-audit rvb/ct1/c1/j1 --result pass --readings 30.7;33.4", `--readings: reading 1 of "30.7;33.4": "30.7": 30.7 has no unit`},
		{"inspect visual rvb/ct1/c1/j1 --person p", "trackctl inspect needs --result"},
		{"custody isued T1 --site rvb", `KIND: "isued" is not a custody kind (did you mean issued?)`},
		{"custody issued T1 --site rvb", "trackctl custody needs --holder"},
		{"custody lost T1", "trackctl custody needs --site"},
		{"hold place --reason r", "needs exactly one of PLACE, --lot and --tool; got 0"},
		{"hold place rvb/ct1/c1 --lot L --reason r", "needs exactly one of PLACE, --lot and --tool; got 2"},
		{"hold place rvb --reason r", `"rvb" is a site; expected a cell such as RVB/CT2/C3 or a joint`},
		{"hold place --lot L --reason r", "trackctl hold place needs --site"},
		{"hold place rvb/ct1/c1", "trackctl hold place needs --reason"},
		{"hold release 7 --decision rework --reason r", "HOLD: expected the id of one of the holds"},
		{"hold release 019cad6f-a0e0-7d33-b5f5-d520a5bbb89f --decision rework", "trackctl hold release needs --reason"},
		{"hold release 019cad6f-a0e0-7d33-b5f5-d520a5bbb89f --decision rewrk", `--decision: "rewrk" is not a disposition (did you mean rework?)`},
		{"decide x rework --reason r", "INCIDENT: expected the id of one of the incidents"},
		{"decide 019cad6f-a0e0-7d33-b5f5-d520a5bbb89f mend --reason r", `DECISION: "mend" is not a disposition`},
		{"sign-off rvb --point hold-point", `"rvb" is a site; expected a tower`},
		{"sign-off rvb/ct1 --point stop", `--point: "stop" is not a sign-off point`},
		{"correct 7 --fasteners 3 --reason r", `expected the id of a record such as 019cadd3-6bc0-77c9-9e41-58325664ba11, got "7"`},
		{"correct 019cad6f-a0e0-7d33-b5f5-d520a5bbb89f --reason r", "needs a flag that says what holds instead; to take the record back altogether, use trackctl withdraw"},
		{"correct 019cad6f-a0e0-7d33-b5f5-d520a5bbb89f --fasteners 3", "trackctl correct needs --reason"},
		{"withdraw tightening/7 --reason r", "expected the id of a record"},
		{"withdraw tightenigs/019cad6f-a0e0-7d33-b5f5-d520a5bbb89f --reason r", `"tightenigs" is not a kind of record; did you mean tightenings?`},
		{"batch add B1", "trackctl batch add needs --kind"},
		{"batch add B1 --kind glue", `--kind: "glue" is not a consumable kind`},
		{"batch add B1 --kind solvent --expires 31.12.2026", `--expires: expected a date YYYY-MM-DD, got "31.12.2026"`},
		{"substitution add S --spec X", "trackctl substitution add needs --thread, --material, --approved-by"},
		{"progress rvb/ct1/c1/j1", `"rvb/ct1/c1/j1" is a joint; expected a site`},
		{"progress rvb --confidence 1", `--confidence: expected a number above 0.5 and below 1, got "1"`},
		{"findings --rule torqe-window", `--rule: "torqe-window" is not a rule (did you mean torque-window?)`},
		{"findings --severity bad", `--severity: "bad" is not a severity`},
		{"history rvb/ct1", `"rvb/ct1" is a tower; expected a joint`},
		{"attach 019cad6f-a0e0-7d33-b5f5-d520a5bbb89f", "trackctl attach takes RECORD FILE...; got 1 argument"},
		{"attachment save photo x.jpg", `NAME: expected attachments/ and 64 hexadecimal digits, got "photo"`},
		{"--server nowhere site list", `--server: expected HOST:PORT such as 127.0.0.1:7733, got "nowhere"`},
	} {
		t.Run(tc.args, func(t *testing.T) {
			code, out, errOut := run(t, "", nil, strings.Fields(tc.args)...)
			if code != exitUsage || out != "" || !strings.Contains(errOut, tc.want) {
				t.Errorf("exit %d, out %q, err %q; want %q", code, out, errOut, tc.want)
			}
		})
	}
}

func TestConfiguration(t *testing.T) {
	dir := t.TempDir()
	empty, two := filepath.Join(dir, "empty"), filepath.Join(dir, "two")
	for name, text := range map[string]string{empty: " \n", two: "a b\n"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, tc := range []struct {
		env  map[string]string
		want string
	}{
		{map[string]string{envServer: "nowhere"}, "JOINTLEDGER_SERVER: expected HOST:PORT"},
		{map[string]string{envServer: ":1"}, "JOINTLEDGER_SERVER: expected HOST:PORT"},
		{map[string]string{envServer: "h:99999"}, "JOINTLEDGER_SERVER: expected HOST:PORT"},
		{map[string]string{envTokenFile: filepath.Join(dir, "absent")}, "the token file can't be read"},
		{map[string]string{envTokenFile: empty}, "expected one token without spaces"},
		{map[string]string{envTokenFile: two}, "expected one token without spaces"},
	} {
		code, _, errOut := run(t, "", tc.env, "site", "list")
		if code != exitConfig || !strings.Contains(errOut, tc.want) {
			t.Errorf("%v: exit %d, %q", tc.env, code, errOut)
		}
	}
}

func TestNoServer(t *testing.T) {
	a := newAnswering(t, nil)
	address := strings.Replace(a.address, "127.0.0.1", "127.0.0.2", 1) // nobody listens there
	code, _, errOut := run(t, address, map[string]string{envPerson: "ab"}, "tighten", "RVB/CT1/C1/J1", "3", "--lot", "L", "--treatment", "none")
	if code != exitUnavailable || !strings.Contains(errOut, "can't be reached (connection refused)") {
		t.Errorf("exit %d, %q", code, errOut)
	}
	if want := "to send it again without keeping it twice, add: --id " + testID.String() + " --at 2026-03-02T07:25:00.5+01:00"; !strings.Contains(errOut, want) {
		t.Errorf("%q lacks %q", errOut, want)
	}
}

// The status of a call becomes a fixed exit code, one sentence and a line for each
// field, by the flag that gives it.
func TestCallFailures(t *testing.T) {
	detailed := func(code codes.Code, message string, details ...proto.Message) error {
		st := status.New(code, message)
		info := &errdetails.ErrorInfo{Reason: "TEST", Domain: "jointledger"}
		for _, d := range append([]proto.Message{info}, details...) {
			next, err := st.WithDetails(protoadapt.MessageV1Of(d))
			if err != nil {
				t.Fatal(err)
			}
			st = next
		}
		return st.Err()
	}
	for _, tc := range []struct {
		err  error
		code int
		want string
	}{
		{detailed(codes.InvalidArgument, "site is not valid", &errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{
			{Field: "site.time_zone", Description: "is wrong"}, {Field: "display_name", Description: "is long"}, {Field: "strange", Description: "is odd"}}}),
			exitData, "trackctl: site is not valid\n  --time-zone: is wrong\n  --name: is long\n  strange: is odd\n"},
		{detailed(codes.AlreadyExists, "taken"), exitData, "trackctl: taken\n"},
		{detailed(codes.FailedPrecondition, "not now"), exitData, "trackctl: not now\n"},
		{detailed(codes.NotFound, "site \"X\" is not known"), exitUnknown, "trackctl: site \"X\" is not known\n"},
		{detailed(codes.Unavailable, "the database is away", &errdetails.RetryInfo{RetryDelay: durationpb.New(2e9)}), exitUnavailable, "trackctl: the database is away\n  try again in 2s\n"},
		{detailed(codes.Internal, "internal error", &errdetails.RequestInfo{RequestId: "r1"}), exitInternal, "trackctl: internal error\n  request id r1: it finds the fault in the server's log\n"},
		{detailed(codes.Aborted, "conflict"), exitTryAgain, "trackctl: conflict\n"},
		{detailed(codes.ResourceExhausted, "too much"), exitTryAgain, "trackctl: too much\n"},
		{detailed(codes.Unauthenticated, "no token"), exitDenied, "trackctl: no token\n"},
		{detailed(codes.PermissionDenied, "not you"), exitDenied, "trackctl: not you\n"},
		{status.Error(codes.Unimplemented, "unknown"), exitInternal, "does not know this call"},
		{status.Error(codes.DeadlineExceeded, "late"), exitTryAgain, "did not answer within 30s"},
		{status.Error(codes.Unknown, "\x1b[31mred"), exitInternal, "trackctl: \ufffd[31mred\n"},
	} {
		a := newAnswering(t, func(string, []byte) (proto.Message, error) { return nil, tc.err })
		code, out, errOut := run(t, a.address, nil, "site", "add", "rvb", "--name", "N", "--time-zone", "Z")
		if code != tc.code || out != "" || !strings.Contains(errOut, tc.want) {
			t.Errorf("%v: exit %d, out %q, err %q; want %d %q", tc.err, code, out, errOut, tc.code, tc.want)
		}
	}
}

// A number below the least is named with its argument, though it looks like a flag;
// it is the data that is wrong, as where the server refuses it.
func TestCountsOutOfRange(t *testing.T) {
	const fasteners, quantity = "trackctl: FASTENERS: expected a whole number from 1 to 100000, got ", "trackctl: QUANTITY: expected a whole number from 1 to 100000000, got "
	for args, want := range map[string]string{
		"tighten rvb/ct1/c1/j1 -1 --lot L --treatment none --person p":          fasteners + "-1\n",
		"tighten --lot L --treatment none --person p rvb/ct1/c1/j1 -12":         fasteners + "-12\n",
		"tighten --lot L --treatment none --person p -- rvb/ct1/c1/j1 -1":       fasteners + "-1\n",
		"tighten rvb/ct1/c1/j1 0 --lot L --treatment none --person p":           fasteners + "0\n",
		"tighten rvb/ct1/c1/j1 99999999999999999999 --lot L --treatment none":   fasteners + "99999999999999999999\n",
		"incident galling rvb/ct1/c1/j1 -2 --lot L --treatment none --person p": fasteners + "-2\n",
		"incident galling rvb/ct1/c1/j1 0 --lot L --treatment none --person p":  fasteners + "0\n",
		"movement add received L -3 --site rvb --person p":                      quantity + "-3\n",
		"movement add received L 0 --site rvb":                                  quantity + "0\n",
		"movement add counted L 100000001 --site rvb":                           "trackctl: QUANTITY: expected a whole number from 0 to 100000000, got 100000001\n",
	} {
		if code, out, errOut := run(t, "", nil, strings.Fields(args)...); code != exitData || out != "" || errOut != want {
			t.Errorf("%s: exit %d, %q %q; want %q", args, code, out, errOut, want)
		}
	}
	// What is no count is still no flag.
	if code, _, errOut := run(t, "", nil, "site", "show", "-1"); code != exitUsage || !strings.Contains(errOut, "-1") {
		t.Errorf("exit %d, %q", code, errOut)
	}
}

// Every code that the program can end with stands in its help.
func TestHelpListsTheExitCodes(t *testing.T) {
	_, out, _ := run(t, "", nil, "help", "exit-codes")
	for _, code := range []int{exitDone, exitNotComplete, exitUsage, exitData, exitNoInput, exitUnknown, exitUnavailable, exitInternal,
		exitCantWrite, exitIO, exitTryAgain, exitDenied, exitConfig, exitInterrupted} {
		if !strings.Contains(out, fmt.Sprintf("\n%4d  ", code)) {
			t.Errorf("%d is missing in\n%s", code, out)
		}
	}
	if !strings.Contains(out, "\n   1  handover: the record was written and is not complete\n") {
		t.Errorf("got\n%s", out)
	}
}

func TestRefusalOfARecord(t *testing.T) {
	for reason, want := range map[pb.ErrorReason]int{
		pb.ErrorReason_ERROR_REASON_INVALID_FIELD:     exitData,
		pb.ErrorReason_ERROR_REASON_RECORD_ID_REUSED:  exitData,
		pb.ErrorReason_ERROR_REASON_UNKNOWN_RESOURCE:  exitUnknown,
		pb.ErrorReason_ERROR_REASON_PERMISSION_DENIED: exitDenied,
		pb.ErrorReason_ERROR_REASON_STORE_UNAVAILABLE: exitUnavailable,
		pb.ErrorReason_ERROR_REASON_CONFLICT:          exitTryAgain,
		pb.ErrorReason_ERROR_REASON_INTERNAL:          exitInternal,
	} {
		a := newAnswering(t, func(string, []byte) (proto.Message, error) {
			return &pb.RecordTighteningsResponse{Outcomes: []*pb.Outcome{{State: pb.Outcome_STATE_REFUSED, Refusal: &pb.Refusal{
				Reason: reason, Message: "no", FieldViolations: []*pb.FieldViolation{{Field: "fasteners", Description: "too few"}, {Field: "entry.person", Description: "bad"}}}}}}, nil
		})
		code, out, errOut := run(t, a.address, nil, "tighten", "RVB/CT1/C1/J1", "1", "--lot", "L", "--treatment", "none", "--person", "p")
		if code != want || out != "" || errOut != "trackctl: no\n  FASTENERS: too few\n  entry.person: bad\n" {
			t.Errorf("%v: exit %d, %q %q", reason, code, out, errOut)
		}
	}
}

func TestTokenAndAgentAreSent(t *testing.T) {
	a := newAnswering(t, func(string, []byte) (proto.Message, error) { return &pb.ListSitesResponse{}, nil })
	file := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(file, []byte("s3cret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, _, errOut := run(t, a.address, map[string]string{envTokenFile: file}, "site", "list")
	if code != 0 || errOut != "there are no sites to show\n" {
		t.Fatalf("exit %d, %q", code, errOut)
	}
	if got := a.headers.Get("authorization"); len(got) != 1 || got[0] != "Bearer s3cret" {
		t.Errorf("authorization %q", got)
	}
	if got := a.headers.Get("user-agent"); len(got) != 1 || !strings.HasPrefix(got[0], "trackctl/") {
		t.Errorf("user-agent %q", got)
	}
}

func TestTimeoutHoldsForEachCall(t *testing.T) {
	release := make(chan struct{})
	a := newAnswering(t, func(string, []byte) (proto.Message, error) {
		<-release
		return &pb.ListSitesResponse{}, nil
	})
	code, _, errOut := run(t, a.address, nil, "site", "list", "--timeout", "50ms")
	close(release)
	if code != exitTryAgain || !strings.Contains(errOut, "did not answer within 50ms") {
		t.Errorf("exit %d, %q", code, errOut)
	}
}

func TestInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	release := make(chan struct{})
	a := newAnswering(t, func(string, []byte) (proto.Message, error) {
		cancel()
		<-release
		return &pb.ListSitesResponse{}, nil
	})
	code := Run(ctx, []string{"--server", a.address, "site", "list"}, strings.NewReader(""), io.Discard, io.Discard)
	close(release)
	if code != exitInterrupted {
		t.Errorf("exit %d", code)
	}
}

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errors.New("disk full") }

func TestOutputThatCannotBeWritten(t *testing.T) {
	var said strings.Builder
	code := Run(t.Context(), []string{"version"}, strings.NewReader(""), brokenWriter{}, &said)
	if code != exitCantWrite || !strings.Contains(said.String(), "disk full") {
		t.Errorf("exit %d, %q", code, said.String())
	}
}

func TestHelp(t *testing.T) {
	code, out, _ := run(t, "", nil, "help", "exit-codes")
	for _, want := range []string{"  64  ", "  65  ", "  66  ", "  67  ", "  69  ", "  70  ", "  73  ", "  74  ", "  75  ", "  77  ", "  78  "} {
		if !strings.Contains(out, want) {
			t.Errorf("exit codes lack %q", want)
		}
	}
	if code != 0 {
		t.Errorf("exit %d", code)
	}
	if code, out, _ := run(t, "", nil, "help", "import-format"); code != 0 || !strings.Contains(out, "joints.csv\n  site, tower, cell, joint, kind, critical, spec, fasteners, [part_a], [part_b]\n") {
		t.Errorf("exit %d, %s", code, out)
	}
	for _, args := range [][]string{{"tighten", "--help"}, {"--help"}, {"spec", "list", "--help"}, {"spec", "add", "--help"}} {
		if code, out, _ := run(t, "", nil, args...); code != 0 || !strings.Contains(out, caution) {
			t.Errorf("%v: exit %d; the caution is missing from %q", args, code, out)
		}
	}
	for _, shell := range []string{"bash", "zsh", "fish"} {
		if code, out, _ := run(t, "", nil, "completion", shell); code != 0 || !strings.Contains(out, "trackctl") {
			t.Errorf("completion %s: exit %d", shell, code)
		}
	}
	if code, out, _ := run(t, "", nil, "__complete", "tighten", "J", "1", "--treatment", "anti"); code != 0 || !strings.Contains(out, "anti-seize") {
		t.Errorf("completion of a word: exit %d, %q", code, out)
	}
}
