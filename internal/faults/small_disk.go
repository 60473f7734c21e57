package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// smallDisk is a file system of its own that can be filled or made read-only.
type smallDisk struct {
	folder string
	// image is the file of a disk with ext4, and above what it is mounted below; empty for
	// one in memory.
	image, above string
}

// memoryDisk mounts a file system in memory of so many MiB.
func (g *rig) memoryDisk(ctx context.Context, mebibytes int) (*smallDisk, error) {
	if err := root("a small disk"); err != nil {
		return nil, err
	}
	folder, err := g.subfolder("disk")
	if err != nil {
		return nil, err
	}
	return &smallDisk{folder: folder}, tool(ctx, "mount", "-t", "tmpfs", "-o", fmt.Sprintf("size=%dm,mode=0755", mebibytes), "tmpfs", folder)
}

// imageDisk mounts an ext4 of so many MiB from a file. It loses what was not flushed
// when it breaks (see breakOff), as a disk does.
func (g *rig) imageDisk(ctx context.Context, mebibytes int) (*smallDisk, error) {
	if err := root("a small disk"); err != nil {
		return nil, err
	}
	above, err := g.subfolder("disk")
	if err != nil {
		return nil, err
	}
	d := &smallDisk{folder: filepath.Join(above, "mounted"), image: above + ".image", above: above}
	if err := d.share(ctx); err != nil {
		return nil, err
	}
	f, err := os.Create(d.image)
	if err != nil {
		return nil, err
	}
	if err := errors.Join(f.Truncate(int64(mebibytes)<<20), f.Close()); err != nil {
		return nil, err
	}
	if err := tool(ctx, "mkfs.ext4", "-q", "-F", d.image); err != nil {
		return nil, err
	}
	return d, d.mount(ctx)
}

// share has whoever copied all that is mounted, as `ip netns exec` does, lose the disk when
// it is unmounted here: with a copy left it would be mounted again as broken as it was
// (mount_namespaces(7), "Propagation").
func (d *smallDisk) share(ctx context.Context) error {
	for _, args := range [][]string{{"--bind", d.above, d.above}, {"--make-private", d.above}, {"--make-shared", d.above}} {
		if err := tool(ctx, "mount", args...); err != nil {
			return err
		}
	}
	return os.Mkdir(d.folder, 0o755)
}

func (d *smallDisk) mount(ctx context.Context) error {
	return tool(ctx, "mount", "-o", "loop,errors=remount-ro", d.image, d.folder)
}

// breakOff makes an ext4 behave as after an error of its disk: it takes nothing more, and
// what was not flushed is lost (mount(8), "abort"; ext4(5)).
func (d *smallDisk) breakOff(ctx context.Context) error {
	return tool(ctx, "mount", "-o", "remount,abort", d.folder)
}

// mend mounts a broken one anew; nobody may use it.
func (d *smallDisk) mend(ctx context.Context) error {
	if err := tool(ctx, "umount", d.folder); err != nil {
		return err
	}
	return d.mount(ctx)
}

// readOnly makes it read-only, or not; nobody may have a file of it open for writing. What
// a process that was killed had open is closed a little after its end.
func (d *smallDisk) readOnly(ctx context.Context, yes bool) error {
	for begun := time.Now(); ; time.Sleep(100 * time.Millisecond) {
		err := tool(ctx, "mount", "-o", map[bool]string{true: "remount,ro", false: "remount,rw"}[yes], d.folder)
		if err == nil || time.Since(begun) > 20*time.Second {
			return err
		}
	}
}

func (d *smallDisk) ballast() string { return filepath.Join(d.folder, "ballast") }

// fill takes all of its room but so many KiB.
func (d *smallDisk) fill(kibibytes int64) (err error) {
	f, err := os.Create(d.ballast())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	size, err := io.Copy(f, io.LimitReader(zeros{}, 1<<40))
	if err != nil && !errors.Is(err, syscall.ENOSPC) {
		return err
	}
	return f.Truncate(max(0, size-kibibytes<<10))
}

// empty gives the room back.
func (d *smallDisk) empty() error { return os.Remove(d.ballast()) }

func (d *smallDisk) remove() {
	_ = syscall.Unmount(d.folder, syscall.MNT_DETACH) // nothing is left on it that anybody needs
	if d.image == "" {
		_ = os.RemoveAll(d.folder)
		return
	}
	_ = syscall.Unmount(d.above, syscall.MNT_DETACH)
	_ = os.RemoveAll(d.above)
	_ = os.Remove(d.image)
}

// zeros has no end.
type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}
