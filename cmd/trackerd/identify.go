package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"

	"github.com/spf13/pflag"

	"jointledger/internal/access"
	"jointledger/internal/identity"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// identityOptions are the flags of serve that say how callers say who they are.
type identityOptions struct {
	issuer         identity.Issuer
	askLoopback    bool
	adminTokenFile string
}

func (o *identityOptions) identityFlags(f *pflag.FlagSet) {
	f.StringVar(&o.issuer.URL, "oidc-issuer", "", "`URL` of the OpenID Connect issuer whose tokens are taken besides the server's own")
	f.StringVar(&o.issuer.Audience, "oidc-audience", "", "`name` that the issuer knows this system by; its tokens must be meant for it")
	f.StringVar(&o.issuer.Claim, "oidc-claim", "", "`claim` of the issuer's tokens by which subjects are registered here (default sub)")
	f.StringVar(&o.issuer.CAFile, "oidc-ca-file", "", "PEM `file` of the authorities that the issuer's certificate is verified by (default those of the machine)")
	f.BoolVar(&o.askLoopback, "ask-loopback", false, "ask callers on this machine for a credential too, from the first start on")
	f.StringVar(&o.adminTokenFile, "admin-token-file", "", "`file` that the first start writes the administrator's token to (default administrator.token in the data folder; with PostgreSQL in $XDG_STATE_HOME/jointledger)")
}

// identify says how callers say who they are. A token file stands for an administrator
// by itself; without one, the first start makes an administrator. loopback says that only
// this machine reaches the listeners.
func (o *identityOptions) identify(ctx context.Context, s *store.Store, folder, token string, loopback bool, log *slog.Logger) (*identity.Identity, error) {
	if token == "" {
		if err := o.firstAdministrator(ctx, s, folder, log); err != nil {
			return nil, err
		}
	}
	who, err := identity.New(s, identity.Config{Open: loopback && !o.askLoopback, Token: token, Issuer: o.issuer, Logger: log})
	if err != nil {
		return nil, configError{err}
	}
	return who, nil
}

// firstAdministrator makes the administrator and a token on the first start, when no
// principal is registered.
func (o *identityOptions) firstAdministrator(ctx context.Context, s *store.Store, folder string, log *slog.Logger) error {
	if any, err := s.AnyPrincipal(ctx); err != nil || any {
		return err
	}
	file := o.adminTokenFile
	if file == "" {
		if folder == "" {
			folder = stateFolder()
		}
		if folder == "" {
			log.Warn("first start: nobody is registered, and there is no folder to put an administrator's token in; give --admin-token-file, or run `trackerd principal add` and `trackerd token issue`")
			return nil
		}
		file = filepath.Join(folder, "administrator.token")
	}
	token, credential := identity.NewToken(identity.FirstAdministrator)
	// The file is there, under another name, before the token counts; what was there
	// already may be the key to another record.
	if _, err := os.Lstat(file); err == nil {
		file += "." + credential.ID
	}
	written := file + ".new-" + credential.ID
	if err := writeSecret(written, token); err != nil {
		return configError{fmt.Errorf("first start: the administrator's token can't be written: %w", err)}
	}
	by := operator() + ", first start"
	err := s.AddPrincipal(ctx, store.Principal{
		Name: identity.FirstAdministrator, Description: "made at the first start",
		Grants: []store.Grant{{Role: uint8(access.Administrator), RoleWord: access.Administrator.String()}},
	}, by)
	if err == nil {
		err = s.AddCredential(ctx, credential, by)
	}
	if err == nil {
		err = os.Rename(written, file)
	}
	if err != nil {
		os.Remove(written) //nolint:errcheck // what went wrong first is told
		if known := (*ledger.Error)(nil); errors.As(err, &known) && known.Kind == ledger.KindExists {
			return nil // another server on the same database was first
		}
		return err
	}
	log.Warn("first start: made the principal administrator; its token is in the file", "token_file", file, "credential", credential.ID)
	return nil
}

// stateFolder follows the XDG base directory specification; empty where there is none.
func stateFolder() string {
	if base := os.Getenv("XDG_STATE_HOME"); filepath.IsAbs(base) {
		return filepath.Join(base, "jointledger")
	}
	home, err := os.UserHomeDir()
	if err != nil || !filepath.IsAbs(home) {
		return ""
	}
	return filepath.Join(home, ".local", "state", "jointledger")
}

// writeSecret writes a new file that only its owner reads, durably; one that is there
// already is left alone, with an error.
func writeSecret(file, secret string) error {
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.WriteString(secret + "\n")
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		os.Remove(file) //nolint:errcheck // what went wrong first is told
	}
	return err
}
