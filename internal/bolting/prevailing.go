package bolting

import (
	"fmt"
	"strings"
	"sync"

	"jointledger/internal/metrology"
)

// PrevailingAddSource says why the running torque of a self-locking nut is added
// to the seating torque.
var PrevailingAddSource = metrology.Source{Title: "FAA AC 43.13-1B", Place: "7-40", Mark: metrology.Seen}

// Prevailing holds the two torques of a prevailing-torque (self-locking) nut.
type Prevailing struct {
	Seating NewtonMetres // the torque meant for the joint
	Running NewtonMetres // measured with the part turning, before it makes contact
}

// Final is the torque to set, T_final = T_seating + T_running. When the head is
// turned instead of the nut, the running torque is the one measured on the last
// turn before seating. It fails with a *metrology.RangeError for a seating
// torque not above zero or a negative running torque.
func (p Prevailing) Final() (NewtonMetres, error) {
	if err := metrology.CheckPositive("seating torque", float64(p.Seating), "N·m"); err != nil {
		return 0, err
	}
	if err := metrology.CheckNotNegative("running torque", float64(p.Running), "N·m"); err != nil {
		return 0, err
	}
	return p.Seating + p.Running, nil
}

// LockingRow is what a self-locking nut must still hold, and may at most need.
type LockingRow struct {
	Thread      string       // canonical designation; for UNF "1/4 UNF"
	FirstMax    NewtonMetres // most at first assembly; 0 when not given
	FirstOffMin NewtonMetres // least at first removal; 0 when not given
	ReuseMin    NewtonMetres // least breakaway at a later removal or reuse
	Source      metrology.Source
}

// NoLockingRowError reports a thread without prevailing-torque figures.
type NoLockingRowError struct {
	Thread    string
	Available []string
}

// Error lists the threads there are.
func (e *NoLockingRowError) Error() string {
	return fmt.Sprintf("no prevailing-torque figures for %s; there are %s", e.Thread, strings.Join(e.Available, ", "))
}

// LockingRows returns the prevailing torques of self-locking nuts: metric by ISO
// 2320 (classes 5 to 10), inch the breakaway torques for reuse.
func LockingRows() []LockingRow { return append([]LockingRow(nil), lockingRows()...) }

// LockingFor looks up the prevailing torques for a thread. It fails with a
// *NoLockingRowError.
func LockingFor(t Thread) (LockingRow, error) {
	available := make([]string, 0, len(lockingRows()))
	for _, r := range lockingRows() {
		if r.Thread == t.Designation {
			return r, nil
		}
		available = append(available, r.Thread)
	}
	return LockingRow{}, &NoLockingRowError{Thread: t.Designation, Available: available}
}

var lockingRows = sync.OnceValue(buildLockingRows)

func buildLockingRows() []LockingRow {
	iso := metrology.Source{Title: "ISO 2320", Place: "classes 5 to 10", Mark: metrology.Memory}
	var list []LockingRow
	for _, r := range []struct {
		thread                string
		first, firstOff, last NewtonMetres
	}{
		{"M6", 3, 0.45, 0.3},
		{"M8", 6, 0.85, 0.6},
		{"M10", 10.5, 1.5, 1},
		{"M12", 15.5, 2.3, 1.6},
		{"M14", 24, 3.3, 2.3},
		{"M16", 32, 4.5, 3},
		{"M20", 54, 7.5, 5.3},
	} {
		list = append(list, LockingRow{Thread: r.thread, FirstMax: r.first, FirstOffMin: r.firstOff, ReuseMin: r.last, Source: iso})
	}

	seen := metrology.Source{Title: "TM 1-1500-204-23-6", Place: "table 2-8 (NASM25027)", Mark: metrology.Seen}
	recalled := seen
	recalled.Mark = metrology.Memory
	for _, r := range []struct {
		thread string
		lbfin  float64
		source metrology.Source
	}{
		{"1/4-20 UNC", 4.5, recalled},
		{"5/16-18 UNC", 7.5, seen}, {"3/8-16 UNC", 12, seen}, {"7/16-14 UNC", 16.5, seen}, {"1/2-13 UNC", 24, seen},
		{"9/16-12 UNC", 30, seen}, {"5/8-11 UNC", 40, seen}, {"3/4-10 UNC", 60, seen}, {"7/8-9 UNC", 82, seen},
		{"1-8 UNC", 110, seen}, {"1-1/8-7 UNC", 137, seen}, {"1-1/4-7 UNC", 165, seen},
		{"1/4 UNF", 3.5, seen}, {"5/16 UNF", 6.5, seen}, {"3/8 UNF", 9.5, seen}, {"7/16 UNF", 14, seen}, {"1/2 UNF", 18, seen},
		{"9/16 UNF", 24, seen}, {"5/8 UNF", 32, seen}, {"3/4 UNF", 50, seen}, {"7/8 UNF", 70, seen}, {"1 UNF", 90, seen},
	} {
		list = append(list, LockingRow{Thread: r.thread, ReuseMin: PoundForceInches(r.lbfin), Source: r.source})
	}
	return list
}
