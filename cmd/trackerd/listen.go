package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strings"
)

// listenOn opens a listener, and refuses one that others can reach in plaintext unless
// that is said out loud. The flag names the address.
func (o *serveOptions) listenOn(ctx context.Context, flag, address string, log *slog.Logger) (net.Listener, error) {
	var config net.ListenConfig
	l, err := config.Listen(ctx, "tcp", address)
	if err != nil {
		return nil, systemError{fmt.Errorf("can't listen on %s: %w", address, err)}
	}
	if o.tlsCert != "" || onLoopback(l.Addr()) {
		return l, nil
	}
	if o.allowPlaintext {
		log.Warn("plaintext listener: whoever is on the way can read and change what passes, tokens too", "setting", keyOf(flag), "address", l.Addr().String())
		return l, nil
	}
	l.Close() //nolint:errcheck // nothing was accepted on it
	return nil, configError{fmt.Errorf(
		"others can reach %s, and without TLS they can read and change what passes, tokens too; give --tls-cert and --tls-key, listen on 127.0.0.1, or say --allow-plaintext", address)}
}

// onLoopback says whether only this machine reaches the listener. What it is bound to
// is asked, not the name it was given: a name may stand for any address.
func onLoopback(a net.Addr) bool {
	tcp, ok := a.(*net.TCPAddr)
	return ok && tcp.IP.IsLoopback()
}

// leastToken is the length below which a token can be guessed.
const leastToken = 16

// readToken reads the bearer token; empty for no file.
func readToken(file string, log *slog.Logger) (string, error) {
	if file == "" {
		return "", nil
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return "", configError{fmt.Errorf("the token file can't be read: %w", err)}
	}
	token := strings.TrimSpace(string(text))
	switch {
	case token == "":
		return "", configError{fmt.Errorf("the token file %s is empty", file)}
	case strings.ContainsFunc(token, func(r rune) bool { return r <= ' ' || r > '~' }):
		return "", configError{errors.New("the token may have only printable ASCII characters without spaces, on one line")}
	case len(token) < leastToken:
		log.Warn("the token is short and can be guessed", "characters", len(token), "expected_at_least", leastToken)
	}
	if info, err := os.Stat(file); err == nil && info.Mode().Perm()&0o077 != 0 {
		log.Warn("others on this machine can use the token file", "file", file, "mode", info.Mode().Perm().String())
	}
	return token, nil
}
