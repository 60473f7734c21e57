package csvfolder

import (
	"strings"
	"testing"
	"testing/fstest"

	"jointledger/internal/cli/csvfile"
)

// Whatever a file holds, reading it ends; each item that comes out has a name and
// a line, each problem a place in the file, and reading it again gives the same.
func FuzzParseFolderFile(f *testing.F) {
	files := fleet()
	for i, k := range kinds() {
		if text, ok := files[k.file]; ok {
			f.Add(uint8(i), []byte(text))
			f.Add(uint8(i), []byte("\ufeff"+strings.ReplaceAll(text, "\n", "\r\n")))
			f.Add(uint8(i), []byte(strings.NewReplacer("32", `"3,2"`, "12", "0", "Z", "", "M10", `"M10`).Replace(text)))
		}
	}
	all := kinds()
	f.Fuzz(func(t *testing.T, which uint8, data []byte) {
		k := all[int(which)%len(all)]
		first, problems := parseBytes(t, k, data)
		again, _ := parseBytes(t, k, data)
		if strings.Join(first, "|") != strings.Join(again, "|") {
			t.Errorf("read twice: %q and %q", first, again)
		}
		lines := strings.Count(string(data), "\n") + 1
		for _, p := range problems.Listed() {
			if p.Line < 1 || p.Line > lines || p.Column < 1 || p.Message == "" {
				t.Errorf("no such place: %v (of %d lines)", p, lines)
			}
		}
	})
}

func parseBytes(t *testing.T, k *kind, data []byte) ([]string, *csvfile.Problems) {
	t.Helper()
	state := &fileState{}
	fold := &folder{path: "f", fsys: fstest.MapFS{k.file: {Data: data}}, files: map[string]*fileState{k.file: state}}
	reader := &taker{folder: fold}
	var names []string
	problems := &csvfile.Problems{}
	err := reader.items(k, problems, func(item *Item) error {
		if item.Name == "" || strings.HasSuffix(item.Name, "/") || item.Message == nil || len(item.rows) == 0 {
			t.Errorf("an item without name, content or line: %+v", item)
		}
		names = append(names, item.Name)
		return nil
	})
	if err != nil {
		t.Errorf("an error for bytes in memory: %v", err)
	}
	return names, problems
}
