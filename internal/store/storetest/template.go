package storetest

import (
	"context"
	"os"
	"path/filepath"
	"sync"

	"jointledger/internal/store"
)

// DatabaseFile is the name of the embedded database in its data folder. It is
// written out here on purpose: people's backups know it.
const DatabaseFile = "jointledger.db"

// sqliteTemplate is a migrated, empty database that tests start from: migrating
// costs more than most tests do.
type sqliteTemplate struct {
	once  sync.Once
	bytes []byte
	err   error
}

var template sqliteTemplate

func (t *sqliteTemplate) file() ([]byte, error) {
	t.once.Do(func() {
		var dir string
		if dir, t.err = os.MkdirTemp("", "jointledger-template-"); t.err != nil {
			return
		}
		defer os.RemoveAll(dir)
		if _, _, t.err = store.MigrateUp(context.Background(), store.Config{DataDir: dir}); t.err != nil {
			return
		}
		t.bytes, t.err = os.ReadFile(filepath.Join(dir, DatabaseFile))
	})
	return t.bytes, t.err
}
