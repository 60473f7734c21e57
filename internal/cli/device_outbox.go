package cli

import (
	"os"
	"path/filepath"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
)

// outboxIn is the outbox's place in the folder of a device.
func outboxIn(folder string) string { return filepath.Join(folder, "outbox") }

// deviceOf is the folder of the device that an outbox is in.
func deviceOf(box *outbox.Outbox) string { return filepath.Dir(box.Folder()) }

// carriedIn says whether the device carries data of the site, or any where none is
// named.
func carriedIn(folder, site string) bool {
	carried := filepath.Join(folder, "carried")
	if site == "" {
		sites, err := pack.Sites(carried)
		return err == nil && len(sites) > 0
	}
	_, err := os.Stat(pack.Path(carried, site))
	return err == nil
}

// deviceOutbox is the outbox of this device. It need not exist.
func (a *app) deviceOutbox() (*outbox.Outbox, error) {
	folder, err := a.deviceFolder()
	if err != nil {
		return nil, err
	}
	return outbox.In(outboxIn(folder)), nil
}

// outboxEntries are the entries of this device's outbox, the oldest first.
func (a *app) outboxEntries() (*outbox.Outbox, []*outbox.Entry, error) {
	box, err := a.deviceOutbox()
	if err != nil {
		return nil, nil, err
	}
	list, err := box.Entries()
	a.tellDamage(box)
	if err != nil {
		return nil, nil, &failure{code: exitIO, message: err.Error()}
	}
	return box, list, nil
}
