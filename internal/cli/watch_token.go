package cli

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	pb "jointledger/proto/jointledger/v1"
)

// envState is the folder of what programs remember from run to run (XDG Base
// Directory Specification 0.8).
const envState = "XDG_STATE_HOME"

// tokenStore keeps the resume token of a watch in a file.
type tokenStore struct{ path string }

// stateFile is where the token of a watch of these rules and sites at this server
// is kept when no file is named: a token is good for nothing else.
func (a *app) stateFile(request *pb.WatchAlarmsRequest) (string, error) {
	folder := a.getenv(envState)
	if folder == "" {
		home := a.getenv("HOME")
		if home == "" {
			return "", &failure{code: exitConfig, message: "neither " + envState + " nor HOME is set; say where the token is to be kept with --token-store"}
		}
		folder = filepath.Join(home, ".local", "state")
	}
	rules, sites := slices.Sorted(slices.Values(request.GetRules())), slices.Sorted(slices.Values(request.GetSites()))
	sum := sha256.Sum256([]byte(a.settings.server + "\n" + strings.Join(rules, ",") + "\n" + strings.Join(sites, ",")))
	return filepath.Join(folder, "jointledger", fmt.Sprintf("watch-%x.token", sum[:8])), nil
}

// load reads the token; empty when there is no file yet.
func (s tokenStore) load() (string, error) {
	content, err := os.ReadFile(s.path)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", &failure{code: exitNoInput, message: fmt.Sprintf("the resume token can't be read: %v", err)}
	}
	return strings.TrimSpace(string(content)), nil
}

// save writes the token so that either the old or the new one is there, whenever
// the program or the machine stops.
func (s tokenStore) save(token string) error {
	err := s.replace(token)
	if err != nil {
		return &failure{code: exitCantWrite, message: fmt.Sprintf("the resume token can't be kept: %v", err)}
	}
	return nil
}

func (s tokenStore) replace(token string) (err error) {
	folder := filepath.Dir(s.path)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(folder, filepath.Base(s.path)+".*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name()) //nolint:errcheck // the first error counts
		}
	}()
	_, err = f.WriteString(token + "\n")
	if err == nil {
		err = f.Sync()
	}
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return err
	}
	return os.Rename(f.Name(), s.path)
}
