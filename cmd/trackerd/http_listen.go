package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"

	"github.com/spf13/pflag"

	"jointledger/internal/httpjson"
	"jointledger/internal/rpc"
)

// httpOptions are the flags of the listener for JSON over HTTP.
type httpOptions struct {
	httpListen  string
	httpOrigins []string
}

func (o *httpOptions) httpFlags(f *pflag.FlagSet) {
	f.StringVar(&o.httpListen, "http-listen", "", "`address` of a listener for the same calls as JSON over HTTP, such as 127.0.0.1:7734; none unless given")
	f.StringSliceVar(&o.httpOrigins, "http-origin", nil, "`origin` whose pages may call that listener from a browser, such as https://board.example.com; may be given several times")
}

// overHTTP is the listener for JSON over HTTP; nil for none.
type overHTTP struct {
	listener net.Listener
	server   *http.Server
	done     chan struct{}
}

// openHTTP opens the listener, where there is to be one.
func (r *serving) openHTTP(ctx context.Context) error {
	if r.httpListen == "" {
		if len(r.httpOrigins) > 0 {
			return configError{errors.New("http-origin says which pages may call the listener of http-listen, and that is not given")}
		}
		return nil
	}
	l, err := r.listenOn(ctx, "http-listen", r.httpListen, r.log)
	if err != nil {
		return err
	}
	r.close(l)
	r.http = &overHTTP{listener: l}
	return nil
}

// loopback says whether this machine alone reaches the services.
func (r *serving) loopback() bool {
	return onLoopback(r.listener.Addr()) && (r.http == nil || onLoopback(r.http.listener.Addr()))
}

// serveHTTP answers requests until stopHTTP.
func (r *serving) serveHTTP(server *rpc.Server, failed chan<- error) error {
	h := r.http
	if h == nil {
		return nil
	}
	handler, err := httpjson.New(server, httpjson.Options{Origins: r.httpOrigins, LocalOnly: r.loopback() && !r.askLoopback})
	if err != nil {
		return configError{fmt.Errorf("http-origin: %w", err)}
	}
	h.server, h.done = httpjson.NewServer(handler, r.tlsConfig("h2", "http/1.1"), r.log), make(chan struct{})
	go func() {
		defer close(h.done)
		if err := httpjson.Serve(h.server, h.listener); !errors.Is(err, http.ErrServerClosed) {
			failed <- err
		}
	}()
	r.log.Info("JSON over HTTP", "address", h.listener.Addr().String())
	return nil
}

// stopHTTP takes no new requests and finishes those it has; what is left when the
// context ends is cut off. It comes before the gRPC server stops, which answers them.
func (r *serving) stopHTTP(ctx context.Context) {
	if r.http == nil || r.http.server == nil {
		return
	}
	if err := r.http.server.Shutdown(ctx); err != nil {
		_ = r.http.server.Close()
	}
	<-r.http.done
}
