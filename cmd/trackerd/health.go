package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	"jointledger/cmd/trackerd/certificate"
)

// healthOptions are the flags of health, besides those of serve, which say where the
// server listens.
type healthOptions struct {
	serveOptions
	address, service, caFile string
	timeout                  time.Duration
}

func healthCommand() *cobra.Command {
	var o healthOptions
	c := &cobra.Command{
		Use:   "health",
		Short: "Ask a running server whether it serves",
		Long: `Asks the health service of a running server, and exits with status 0 when it says
that it serves, else with 69. It needs no token.

It takes the flags, environment and settings file of serve, and asks the server that
these describe; --address names another.

` + exitCodesText,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return o.run(c.Context(), c.OutOrStdout()) },
	}
	o.allFlags(c)
	c.Flags().StringVar(&o.address, "address", "", "`address` of the server, when it is not the one of --listen")
	c.Flags().StringVar(&o.service, "service", "", "ask for one `service`, such as jointledger.v1.AssemblyService")
	c.Flags().StringVar(&o.caFile, "ca-file", "", "PEM `file` of the authorities that the server's certificate is verified by; gives TLS where --tls-cert does not")
	c.Flags().DurationVar(&o.timeout, "timeout", 5*time.Second, "how `long` the answer may take")
	return c
}

func (o *healthOptions) run(ctx context.Context, stdout io.Writer) error {
	if err := o.complete(); err != nil {
		return err
	}
	if err := o.check(); err != nil {
		return err
	}
	address, err := o.target()
	if err != nil {
		return err
	}
	line, err := o.line()
	if err != nil {
		return err
	}
	conn, err := grpc.NewClient("passthrough:///"+address, grpc.WithTransportCredentials(line))
	if err != nil {
		return usageError{fmt.Errorf("--address %q: %w", address, err)}
	}
	defer conn.Close() // nothing is under way on it
	ctx, cancel := context.WithTimeout(ctx, o.timeout)
	defer cancel()
	answer, err := healthpb.NewHealthClient(conn).Check(ctx, &healthpb.HealthCheckRequest{Service: o.service})
	if err != nil {
		return notUsable(fmt.Sprintf("the server at %s can't be asked: %s", address, status.Convert(err).Message()))
	}
	fmt.Fprintln(stdout, answer.GetStatus())
	if answer.GetStatus() != healthpb.HealthCheckResponse_SERVING {
		return notUsable("the server at " + address + " does not serve; its log says why")
	}
	return nil
}

// target is the address to ask: where the server listens everywhere, this machine's.
func (o *healthOptions) target() (string, error) {
	if o.address != "" {
		if _, _, err := net.SplitHostPort(o.address); err != nil {
			return "", usageError{fmt.Errorf("--address: expected HOST:PORT, got %q", o.address)}
		}
		return o.address, nil
	}
	host, port, err := net.SplitHostPort(o.listen)
	if err != nil {
		return "", err
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
		if ip != nil && ip.To4() == nil {
			host = "::1"
		}
	}
	if port == "0" {
		return "", usageError{errors.New("the server listens on a free port; say which with --address")}
	}
	return net.JoinHostPort(host, port), nil
}

// line is how the server is spoken to.
func (o *healthOptions) line() (credentials.TransportCredentials, error) {
	switch {
	case o.caFile != "":
		pool, err := certificate.ReadAuthorities(o.caFile)
		if err != nil {
			return nil, configError{err}
		}
		return credentials.NewTLS(&tls.Config{RootCAs: pool, MinVersion: o.leastTLS()}), nil
	case o.tlsCert == "":
		return insecure.NewCredentials(), nil
	}
	c := &tls.Config{MinVersion: o.leastTLS()}
	if o.address == "" {
		// The server of this very configuration, asked by an address that its
		// certificate is not for. Nothing secret is sent, and whoever could answer in
		// its place on this machine could as well answer in place of this program.
		c.InsecureSkipVerify = true
	}
	return credentials.NewTLS(c), nil
}
