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
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"

	"jointledger/internal/cli/output"
)

type flag = pflag.Flag

// The environment in which the global flags may be given.
const (
	envServer    = "JOINTLEDGER_SERVER"
	envTokenFile = "JOINTLEDGER_TOKEN_FILE"
	envPerson    = "JOINTLEDGER_PERSON"
)

const defaultServer = "127.0.0.1:7733"

// maxAnswer bounds one answer of the server: a page of a thousand records with
// long notes stays well below it.
const maxAnswer = 64 << 20

// settings are the global flags.
type settings struct {
	server, tokenFile, output, person string
	// export is the file that the answer's rows go into; empty for none.
	export  string
	timeout time.Duration
	format  output.Format
}

func (s *settings) flags(fs *pflag.FlagSet) {
	fs.StringVar(&s.server, "server", "", "`HOST:PORT` of trackerd (environment "+envServer+"; else "+defaultServer+")")
	fs.StringVar(&s.tokenFile, "token-file", "", "`FILE` with the bearer token (environment "+envTokenFile+")")
	fs.StringVarP(&s.output, "output", "o", string(output.Table), "`FORMAT` of answers: table, json, csv or parquet")
	fs.StringVar(&s.export, "export", "", "write the rows of the answer to `FILE` instead, as its name ends: .csv, .parquet or .json")
	fs.DurationVar(&s.timeout, "timeout", 30*time.Second, "give each call to the server, and each part of a stream, so `LONG`")
	fs.StringVar(&s.person, "person", "", "who reports: initials or badge of a `PERSON` (environment "+envPerson+")")
}

// read completes the settings from the environment and checks them.
func (s *settings) read(fs *pflag.FlagSet, getenv func(string) string) error {
	format, err := output.ParseFormat(s.output)
	if err != nil {
		return usage("--output: %v", err)
	}
	if s.format, err = s.exportFormat(format, fs.Changed("output")); err != nil {
		return err
	}
	source, code := "--server", exitUsage
	if !fs.Changed("server") {
		s.server = defaultServer
		if v := getenv(envServer); v != "" {
			s.server, source, code = v, envServer, exitConfig
		}
	}
	host, port, err := net.SplitHostPort(s.server)
	if err == nil && host != "" {
		_, err = strconv.ParseUint(port, 10, 16)
	}
	if err != nil || host == "" {
		return &failure{code: code, message: fmt.Sprintf("%s: expected HOST:PORT such as %s, got %q", source, defaultServer, s.server)}
	}
	if !fs.Changed("token-file") {
		s.tokenFile = getenv(envTokenFile)
	}
	if !fs.Changed("person") {
		s.person = getenv(envPerson)
	}
	// Badges are stored in small letters; nobody should have to know.
	s.person = strings.ToLower(strings.TrimPrefix(s.person, "people/"))
	if s.timeout <= 0 {
		return usage("--timeout: expected a time above 0 such as 30s, got %s", s.timeout)
	}
	return nil
}

// token reads the bearer token; empty when no file is named.
func (s *settings) token() (string, error) {
	if s.tokenFile == "" {
		return "", nil
	}
	data, err := os.ReadFile(s.tokenFile)
	if err != nil {
		return "", &failure{code: exitConfig, message: fmt.Sprintf("the token file can't be read: %v", err)}
	}
	token := strings.TrimSpace(string(data))
	if token == "" || strings.ContainsFunc(token, func(r rune) bool { return r <= ' ' || r > '~' }) {
		return "", &failure{code: exitConfig, message: fmt.Sprintf("the token file %s: expected one token without spaces", s.tokenFile)}
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
	timeout := a.settings.timeout
	authorised := func(ctx context.Context) context.Context {
		if token == "" {
			return ctx
		}
		return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
	}
	conn, err := grpc.NewClient(a.settings.server,
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithUserAgent("trackctl/"+versionText()),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxAnswer)),
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
