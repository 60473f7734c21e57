package csvfolder

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/nearest"
)

// NotReadableError says that the folder or a file of it can't be opened.
type NotReadableError struct {
	Path  string
	Cause error
}

// Error names the path.
func (e *NotReadableError) Error() string {
	return fmt.Sprintf("%s can't be read: %v", e.Path, e.Cause)
}

// Unwrap gives the cause.
func (e *NotReadableError) Unwrap() error { return e.Cause }

// folder is the folder that is taken in.
type folder struct {
	path    string
	fsys    fs.FS
	options Options
	// files are the names of the files in it; those that were read have the state
	// in which they were first seen.
	files map[string]*fileState
	// checkedOnly are the cells that joints.csv names, when it has bad lines: they
	// are not taken, and its good lines are checked as if they were.
	checkedOnly map[string]bool
}

type fileState struct {
	seen     bool
	size     int64
	modified time.Time
}

// openFolder lists the folder; other names the files that are not of the format.
func openFolder(path string, options Options) (f *folder, other []string, err error) {
	fsys := os.DirFS(path)
	entries, err := fs.ReadDir(fsys, ".")
	if err != nil {
		return nil, nil, &NotReadableError{path, cause(err)}
	}
	known := map[string]bool{}
	var names []string
	for _, k := range kinds() {
		known[k.file] = true
		names = append(names, k.file)
	}
	f = &folder{path: path, fsys: fsys, options: options, files: map[string]*fileState{}, checkedOnly: map[string]bool{}}
	for _, e := range entries {
		switch name := e.Name(); {
		case strings.HasPrefix(name, ".") || e.IsDir():
		case known[name]:
			f.files[name] = &fileState{}
		default:
			other = append(other, name)
		}
	}
	if len(f.files) == 0 {
		return nil, nil, &NotReadableError{path, fmt.Errorf("expected files of the import format (%s), got none of them", strings.Join(names, ", "))}
	}
	return f, other, nil
}

// cause is the system's word on a failed call, without the path that the caller
// names already.
func cause(err error) error {
	var e *fs.PathError
	if errors.As(err, &e) {
		return e.Err
	}
	return err
}

func (f *folder) has(name string) bool { return f.files[name] != nil }

// scan reads the kind's file and gives its rows. A file is read more than once:
// when it was changed in between, what was checked is not what would be sent, and
// the reading fails.
func (f *folder) scan(k *kind, problems *csvfile.Problems, row func(*csvfile.Row) error) error {
	path := filepath.Join(f.path, k.file)
	file, err := f.fsys.Open(k.file)
	if err != nil {
		return &NotReadableError{path, cause(err)}
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return &NotReadableError{path, cause(err)}
	}
	if info.IsDir() {
		return &NotReadableError{path, fmt.Errorf("expected a file, got a folder")}
	}
	state := f.files[k.file]
	if state.seen && (state.size != info.Size() || !state.modified.Equal(info.ModTime())) {
		return &NotReadableError{path, fmt.Errorf("the file was changed while it was taken in; import the folder again")}
	}
	*state = fileState{true, info.Size(), info.ModTime()}
	if err := csvfile.Scan(path, file, k.columns, problems, row); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

// leftAlone says of a file with an unknown name what it was perhaps meant to be.
func leftAlone(name string) string {
	var names []string
	for _, k := range kinds() {
		names = append(names, k.file)
	}
	if n, ok := nearest.Name(name, names); ok {
		return fmt.Sprintf("not a file of the import format; did you mean %s?", n)
	}
	return "not a file of the import format"
}
