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

// listenOn opens the listener, and refuses one that others can reach when
// nobody is asked for a token.
func (o serveOptions) listenOn(ctx context.Context, token bool, log *slog.Logger) (net.Listener, error) {
	if _, _, err := net.SplitHostPort(o.listen); err != nil {
		return nil, usageError{fmt.Errorf("--listen %q is not an address; expected HOST:PORT, such as 127.0.0.1:7733", o.listen)}
	}
	var config net.ListenConfig
	l, err := config.Listen(ctx, "tcp", o.listen)
	if err != nil {
		return nil, systemError{fmt.Errorf("can't listen on %s: %w", o.listen, err)}
	}
	// What the listener is bound to is asked, not the name it was given: a name
	// may stand for any address.
	if addr, ok := l.Addr().(*net.TCPAddr); token || ok && addr.IP.IsLoopback() {
		return l, nil
	}
	if o.allowOpenListener {
		log.Warn("open listener: everybody who can reach it can read and write the record", "address", l.Addr().String())
		return l, nil
	}
	l.Close() //nolint:errcheck // nothing was accepted on it
	return nil, configError{fmt.Errorf(
		"others can reach %s, and without --token-file anybody could write the record; give a token file, listen on 127.0.0.1, or say --allow-open-listener", o.listen)}
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
