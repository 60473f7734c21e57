package csvfile

import "fmt"

// MaxListed is how many problems of one file are kept to be listed; the others
// are only counted.
const MaxListed = 20

// Problem is one thing that is wrong in a file.
type Problem struct {
	File string
	// Line and Column count from 1; Column counts characters, not bytes. Column
	// is 0 where the whole line, Line 0 where the whole file is meant.
	Line, Column int
	// Name is the column's name in the header; empty when no column is meant.
	Name string
	// Message says what was expected and what came.
	Message string
}

// String gives `FILE:LINE:COLUMN: column NAME: message`.
func (p Problem) String() string {
	at := p.File
	if p.Line > 0 {
		at += fmt.Sprintf(":%d", p.Line)
	}
	if p.Column > 0 {
		at += fmt.Sprintf(":%d", p.Column)
	}
	if p.Name != "" {
		at += ": column " + p.Name
	}
	return at + ": " + p.Message
}

// Problems collects what is wrong in one file.
type Problems struct {
	listed []Problem
	count  int
	lines  map[int]struct{}
}

// Add takes one problem.
func (p *Problems) Add(problem Problem) {
	p.count++
	if len(p.listed) < MaxListed {
		p.listed = append(p.listed, problem)
	}
	if p.lines == nil {
		p.lines = map[int]struct{}{}
	}
	p.lines[problem.Line] = struct{}{}
}

// Join takes the problems of another collection of the same file.
func (p *Problems) Join(other *Problems) {
	p.count += other.count
	p.listed = append(p.listed, other.listed[:min(len(other.listed), MaxListed-len(p.listed))]...)
	if p.lines == nil {
		p.lines = map[int]struct{}{}
	}
	for line := range other.lines {
		p.lines[line] = struct{}{}
	}
}

// Listed gives the first problems, at most MaxListed.
func (p *Problems) Listed() []Problem { return p.listed }

// Unlisted is how many problems came after those listed.
func (p *Problems) Unlisted() int { return p.count - len(p.listed) }

// Count is how many problems there are.
func (p *Problems) Count() int { return p.count }

// BadLines is how many lines have at least one problem.
func (p *Problems) BadLines() int { return len(p.lines) }
