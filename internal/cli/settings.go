package cli

import (
	"context"
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/metadata"

	"jointledger/internal/cli/csvfolder"
	"jointledger/internal/cli/output"
	pb "jointledger/proto/jointledger/v1"
)

type flag = pflag.Flag

// The environment in which the global flags may be given.
const (
	envServer    = "JOINTLEDGER_SERVER"
	envTokenFile = "JOINTLEDGER_TOKEN_FILE"
	envPerson    = "JOINTLEDGER_PERSON"
)

const (
	defaultServer  = "127.0.0.1:7733"
	defaultTimeout = 30 * time.Second
)

// maxAnswer bounds one answer of the server: a page of a thousand records with
// long notes stays well below it.
const maxAnswer = 64 << 20

// settings are the global flags.
type settings struct {
	server, tokenFile, output, person, folder string
	line                                      line
	// noInput forbids to ask for what is missing; offlineOnly to try the server.
	noInput, offlineOnly bool
	// from says where each setting came from, by the name of its flag.
	from map[string]string
	// typedToken is a token that is being tried; empty for the one of the file.
	typedToken string
	// export is the file that the answer's rows go into; empty for none.
	export  string
	timeout time.Duration
	format  output.Format
}

func (s *settings) flags(fs *pflag.FlagSet) {
	fs.StringVar(&s.server, "server", "", "`HOST:PORT` of trackerd (environment "+envServer+"; else "+defaultServer+")")
	fs.StringVar(&s.tokenFile, "token-file", "", "`FILE` with the bearer token (environment "+envTokenFile+")")
	s.line.flags(fs)
	fs.StringVarP(&s.output, "output", "o", string(output.Table), "`FORMAT` of answers: table, json, csv or parquet")
	fs.StringVar(&s.export, "export", "", "write the rows of the answer to `FILE` instead, as its name ends: .csv, .parquet or .json")
	fs.DurationVar(&s.timeout, "timeout", defaultTimeout, "give each call to the server, and each part of a stream, so `LONG`")
	fs.StringVar(&s.person, "person", "", "who reports: initials or badge of a `PERSON` (environment "+envPerson+")")
	fs.StringVar(&s.folder, "folder", "", "keep what this device carries in `FOLDER`, its settings too (environment "+envFolder+")")
	fs.BoolVar(&s.noInput, "no-input", false, "never ask for what is missing")
	fs.BoolVar(&s.offlineOnly, "offline-only", false, "keep entries on this device and don't try the server")
}

// read completes the settings from the environment and the settings file, and checks
// them: a flag goes before the environment, the environment before the file.
func (s *settings) read(fs *pflag.FlagSet, getenv func(string) string, file *fileSettings) error {
	s.complete(fs, getenv, file)
	format, err := output.ParseFormat(s.output)
	if err != nil {
		return usage("--output: %v", err)
	}
	if s.format, err = s.exportFormat(format, fs.Changed("output")); err != nil {
		return err
	}
	source, code := s.from["server"], exitConfig
	if source == "--server" {
		code = exitUsage
	}
	if err := s.checkServer(source, code); err != nil {
		return err
	}
	if err := s.line.check(s.from["tls"]); err != nil {
		return err
	}
	// Badges are stored in small letters; nobody should have to know.
	s.person = strings.ToLower(strings.TrimPrefix(s.person, "people/"))
	if s.timeout <= 0 {
		return usage("--timeout: expected a time above 0 such as 30s, got %s", s.timeout)
	}
	return nil
}

// checkServer checks the address of the server, which came from a source.
func (s *settings) checkServer(source string, code int) error {
	host, port, err := net.SplitHostPort(s.server)
	if err == nil && host != "" {
		_, err = strconv.ParseUint(port, 10, 16)
	}
	if err != nil || host == "" {
		return &failure{code: code, message: fmt.Sprintf("%s: expected HOST:PORT such as %s, got %q", source, defaultServer, s.server)}
	}
	return nil
}

// complete gives each setting its value and says where it came from.
func (s *settings) complete(fs *pflag.FlagSet, getenv func(string) string, file *fileSettings) {
	s.from = map[string]string{}
	take := func(dst *string, flag, variable, inFile, otherwise string) {
		fromEnvironment := ""
		if variable != "" {
			fromEnvironment = getenv(variable)
		}
		switch {
		case fs.Changed(flag):
			s.from[flag] = "--" + flag
		case fromEnvironment != "":
			*dst, s.from[flag] = fromEnvironment, variable
		case inFile != "":
			*dst, s.from[flag] = inFile, file.path
		default:
			*dst, s.from[flag] = otherwise, ""
		}
	}
	take(&s.server, "server", envServer, file.server, defaultServer)
	take(&s.tokenFile, "token-file", envTokenFile, file.tokenFile, "")
	take(&s.line.tls, "tls", envTLS, file.line.tls, "")
	take(&s.line.caFile, "ca-file", envCAFile, file.line.caFile, "")
	take(&s.line.clientCert, "client-cert", envClientCert, file.line.clientCert, "")
	take(&s.line.clientKey, "client-key", envClientKey, file.line.clientKey, "")
	take(&s.person, "person", envPerson, file.person, "")
	take(&s.output, "output", "", file.output, string(output.Table))
	// The folder of the file moves what is carried, never the file itself.
	take(&s.folder, "folder", envFolder, "", "")
	switch {
	case fs.Changed("timeout"):
		s.from["timeout"] = "--timeout"
	case file.timeout > 0:
		s.timeout, s.from["timeout"] = file.timeout, file.path
	}
	switch {
	case fs.Changed("offline-only"):
		s.from["offline-only"] = "--offline-only"
	case file.offlineOnly != nil:
		s.offlineOnly, s.from["offline-only"] = *file.offlineOnly, file.path
	}
}

// token reads the bearer token; empty when no file is named.
func (s *settings) token() (string, error) {
	if s.typedToken != "" {
		return s.typedToken, nil
	}
	if s.tokenFile == "" {
		return "", nil
	}
	data, err := os.ReadFile(s.tokenFile)
	if err != nil {
		return "", &failure{code: exitConfig, message: fmt.Sprintf("the token file can't be read: %v", err)}
	}
	token := strings.TrimSpace(string(data))
	if problem := tokenProblem(token); problem != "" {
		return "", &failure{code: exitConfig, message: fmt.Sprintf("the token file %s: %s", s.tokenFile, problem)}
	}
	return token, nil
}

// dial opens the connection to the server. It is the one place that knows how;
// nothing is sent before the first call.
func (a *app) dial() (*grpc.ClientConn, error) {
	if a.conn != nil {
		return a.conn, nil
	}
	token, err := a.settings.token()
	if err != nil {
		return nil, err
	}
	secured, err := a.settings.line.credentials(a.settings.server, &a.line)
	if err != nil {
		return nil, err
	}
	timeout := a.settings.timeout
	authorised := func(ctx context.Context) context.Context {
		ctx = metadata.AppendToOutgoingContext(ctx, pb.APIHeader, fmt.Sprintf("%d.%d", pb.APIMajor, pb.APIRevision))
		if token == "" {
			return ctx
		}
		return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
	}
	conn, err := grpc.NewClient(a.settings.server,
		grpc.WithTransportCredentials(secured),
		grpc.WithUserAgent("trackctl/"+versionText()),
		// A server that takes longer to connect than to say who it is can't be reached.
		grpc.WithConnectParams(grpc.ConnectParams{Backoff: backoff.DefaultConfig, MinConnectTimeout: reachTime}),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxAnswer)),
		grpc.WithStatsHandler(csvfolder.QueueWatch{}),
		grpc.WithUnaryInterceptor(func(ctx context.Context, method string, request, reply any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker, options ...grpc.CallOption) error {
			ctx, cancel := context.WithTimeout(ctx, timeout)
			defer cancel()
			return invoke(authorised(ctx), method, request, reply, conn, options...)
		}),
		grpc.WithStreamInterceptor(func(ctx context.Context, desc *grpc.StreamDesc, conn *grpc.ClientConn, method string, open grpc.Streamer, options ...grpc.CallOption) (grpc.ClientStream, error) {
			return newWatchedStream(authorised(ctx), timeout, desc, func(ctx context.Context) (grpc.ClientStream, error) {
				return open(ctx, desc, conn, method, options...)
			})
		}))
	if err != nil {
		return nil, usage("--server: %v", err)
	}
	a.conn = conn
	return conn, nil
}

// mustComplete offers the words where a shell completes the flag.
func mustComplete(cmd *cobra.Command, name string, words []string) {
	err := cmd.RegisterFlagCompletionFunc(name, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp))
	if err != nil {
		panic(err) // the flag does not exist: a mistake in this program
	}
}
