package labelpage

import (
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// What stands in a symbol is read back by a reader of the test's own, written
// after ISO/IEC 18004 (tables from memory) and knowing nothing of the library that
// drew it: versions 1 to 4 at level Q.
func TestSymbolHoldsTheCode(t *testing.T) {
	for _, text := range []string{
		"RVB+E", "RVB/CT2/C3/J014+G", "M10-ST-2640C+8", "TW-RVB-03+0",
		"m10.a_b++K", "RVB-NORTH-SITE/CT-12/CELL-3/JOINT-0014+X", strings.Repeat("A0/", 20) + "+Q",
	} {
		drawn, err := Symbol(text)
		if err != nil {
			t.Fatal(err)
		}
		if got := readSymbol(t, string(drawn)); got != text {
			t.Errorf("the symbol of %q reads %q", text, got)
		}
	}
}

// grid holds the modules by row and column; true is dark.
type grid [][]bool

// readGrid takes the modules out of the drawing and checks the white border.
func readGrid(t *testing.T, svg string) grid {
	t.Helper()
	full := number(t, regexp.MustCompile(`viewBox="0 0 (\d+) `).FindStringSubmatch(svg)[1])
	all := make(grid, full)
	for i := range all {
		all[i] = make([]bool, full)
	}
	for _, m := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-(\d+)z`).FindAllStringSubmatch(svg, -1) {
		x, y, n := number(t, m[1]), number(t, m[2]), number(t, m[3])
		if m[3] != m[4] {
			t.Fatalf("the run %s is not closed", m[0])
		}
		for i := range n {
			all[y][x+i] = true
		}
	}
	inner := make(grid, full-8)
	for y, row := range all {
		for x, dark := range row {
			inside := x >= 4 && y >= 4 && x < full-4 && y < full-4
			if dark && !inside {
				t.Fatalf("a dark module at %d, %d in the quiet zone of 4 modules", x, y)
			}
			if inside {
				inner[y-4] = append(inner[y-4], dark)
			}
		}
	}
	return inner
}

func number(t *testing.T, text string) int {
	t.Helper()
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func readSymbol(t *testing.T, svg string) string {
	t.Helper()
	g := readGrid(t, svg)
	n := len(g)
	version := (n - 17) / 4
	if version < 1 || version > 4 || n != 17+4*version {
		t.Fatalf("%d modules are no version from 1 to 4", n)
	}
	checkFinders(t, g)
	// Format information: five bits of data first, masked with 101010000010010.
	format := 0
	for _, at := range [][2]int{{0, 8}, {1, 8}, {2, 8}, {3, 8}, {4, 8}} {
		format <<= 1
		if g[at[1]][at[0]] {
			format |= 1
		}
	}
	format ^= 0b10101
	if format>>3 != 0b11 {
		t.Fatalf("error correction level %02b, expected 11 for Q", format>>3)
	}
	data := blocks(t, version, codewords(g, version, format&7))
	return segment(t, data)
}

// checkFinders looks for the three finder patterns: dark, white, dark rings.
func checkFinders(t *testing.T, g grid) {
	t.Helper()
	n := len(g)
	for _, at := range [][2]int{{3, 3}, {n - 4, 3}, {3, n - 4}} {
		for dy := -3; dy <= 3; dy++ {
			for dx := -3; dx <= 3; dx++ {
				ring := max(dx, -dx, dy, -dy)
				if g[at[1]+dy][at[0]+dx] != (ring != 2) {
					t.Fatalf("no finder pattern around %v", at)
				}
			}
		}
	}
}

// codewords reads the bits in their zigzag, unmasked.
func codewords(g grid, version, mask int) []byte {
	n := len(g)
	var bytes []byte
	bits, count := 0, 0
	up := true
	for right := n - 1; right > 0; right -= 2 {
		if right == 6 {
			right-- // the vertical timing pattern
		}
		for step := range n {
			y := step
			if up {
				y = n - 1 - step
			}
			for _, x := range []int{right, right - 1} {
				if function(x, y, n, version) {
					continue
				}
				bits <<= 1
				if g[y][x] != masked(mask, y, x) {
					bits |= 1
				}
				if count++; count%8 == 0 {
					bytes = append(bytes, byte(bits))
				}
			}
		}
		up = !up
	}
	return bytes
}

// function tells whether a module belongs to a pattern and not to the data.
func function(x, y, n, version int) bool {
	alignment := version > 1 && x >= n-9 && x <= n-5 && y >= n-9 && y <= n-5
	return x == 6 || y == 6 || x < 9 && y < 9 || x >= n-8 && y < 9 || x < 9 && y >= n-8 || alignment
}

func masked(mask, i, j int) bool {
	switch mask {
	case 0:
		return (i+j)%2 == 0
	case 1:
		return i%2 == 0
	case 2:
		return j%3 == 0
	case 3:
		return (i+j)%3 == 0
	case 4:
		return (i/2+j/3)%2 == 0
	case 5:
		return i*j%2+i*j%3 == 0
	case 6:
		return (i*j%2+i*j%3)%2 == 0
	}
	return ((i+j)%2+i*j%3)%2 == 0
}

// blocks takes the interleaved blocks apart, checks the Reed-Solomon code of each
// and gives their data.
func blocks(t *testing.T, version int, all []byte) []byte {
	t.Helper()
	layout := map[int]struct{ blocks, data, correction int }{1: {1, 13, 13}, 2: {1, 22, 22}, 3: {2, 17, 18}, 4: {2, 24, 26}}[version]
	if len(all) != layout.blocks*(layout.data+layout.correction) {
		t.Fatalf("version %d: %d codewords", version, len(all))
	}
	var data []byte
	for b := range layout.blocks {
		var block []byte
		for i := b; i < len(all); i += layout.blocks {
			block = append(block, all[i])
		}
		for root := range layout.correction {
			if s := syndrome(block, root); s != 0 {
				t.Errorf("version %d, block %d: syndrome %d is %d, expected 0", version, b, root, s)
			}
		}
		data = append(data, block[:layout.data]...)
	}
	return data
}

// syndrome is the value of the block's polynomial at 2^root in GF(256) modulo
// x⁸ + x⁴ + x³ + x² + 1.
func syndrome(block []byte, root int) byte {
	at := byte(1)
	for range root {
		at = multiply(at, 2)
	}
	var sum byte
	for _, c := range block {
		sum = multiply(sum, at) ^ c
	}
	return sum
}

func multiply(a, b byte) byte {
	var product byte
	for ; b > 0; b >>= 1 {
		if b&1 == 1 {
			product ^= a
		}
		carry := a >= 0x80
		a <<= 1
		if carry {
			a ^= 0x1D
		}
	}
	return product
}

// segment reads the one segment of data, in alphanumeric or byte mode.
func segment(t *testing.T, data []byte) string {
	t.Helper()
	at := 0
	take := func(n int) int {
		v := 0
		for range n {
			v = v<<1 | int(data[at/8]>>(7-at%8)&1)
			at++
		}
		return v
	}
	const alphanumeric = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
	var text strings.Builder
	switch mode := take(4); mode {
	case 0b0010:
		n := take(9)
		for ; n >= 2; n -= 2 {
			v := take(11)
			text.WriteString(alphanumeric[v/45:v/45+1] + alphanumeric[v%45:v%45+1])
		}
		if n == 1 {
			v := take(6)
			text.WriteString(alphanumeric[v : v+1])
		}
	case 0b0100:
		for n := take(8); n > 0; n-- {
			text.WriteByte(byte(take(8)))
		}
	default:
		t.Fatalf("mode %04b is neither alphanumeric nor bytes", mode)
	}
	if strings.HasPrefix(text.String(), "\xef\xbb\xbf") {
		t.Errorf("%q begins with a byte-order mark", text.String())
	}
	return text.String()
}
