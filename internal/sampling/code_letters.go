package sampling

import "math"

// Level is an inspection level: how much is inspected for a given lot.
type Level string

// The special and the general inspection levels; II is used unless another is
// asked for.
const (
	LevelS1  Level = "S-1"
	LevelS2  Level = "S-2"
	LevelS3  Level = "S-3"
	LevelS4  Level = "S-4"
	LevelI   Level = "I"
	LevelII  Level = "II"
	LevelIII Level = "III"
)

var levels = [7]Level{LevelS1, LevelS2, LevelS3, LevelS4, LevelI, LevelII, LevelIII}

// Levels returns the inspection levels in the order of the table.
func Levels() []Level { return append([]Level(nil), levels[:]...) }

// smallestLot is where the table begins.
const smallestLot = 2

// codeLetters holds the sample size code letters (MIL-STD-105E, 10 May 1989,
// Table I; public domain, seen in two copies): the largest lot of each range and
// its letters in the order of the levels.
var codeLetters = [15]struct {
	upTo    int
	letters [7]string
}{
	{8, [7]string{"A", "A", "A", "A", "A", "A", "B"}},
	{15, [7]string{"A", "A", "A", "A", "A", "B", "C"}},
	{25, [7]string{"A", "A", "B", "B", "B", "C", "D"}},
	{50, [7]string{"A", "B", "B", "C", "C", "D", "E"}},
	{90, [7]string{"B", "B", "C", "C", "C", "E", "F"}},
	{150, [7]string{"B", "B", "C", "D", "D", "F", "G"}},
	{280, [7]string{"B", "C", "D", "E", "E", "G", "H"}},
	{500, [7]string{"B", "C", "D", "E", "F", "H", "J"}},
	{1200, [7]string{"C", "C", "E", "F", "G", "J", "K"}},
	{3200, [7]string{"C", "D", "E", "G", "H", "K", "L"}},
	{10000, [7]string{"C", "D", "F", "G", "J", "L", "M"}},
	{35000, [7]string{"C", "D", "F", "H", "K", "M", "N"}},
	{150000, [7]string{"D", "E", "G", "J", "L", "N", "P"}},
	{500000, [7]string{"D", "E", "G", "J", "M", "P", "Q"}},
	{math.MaxInt, [7]string{"D", "E", "H", "K", "N", "Q", "R"}},
}
