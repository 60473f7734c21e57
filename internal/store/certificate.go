package store

import (
	"context"
	"database/sql"
	"hash/fnv"
	"maps"
	"slices"
	"sync"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// A certificate proves one calibration. What two people typed of one certificate is
// compared without regard to capitals and spaces, which no index of the databases
// knows: so the store remembers the numbers by their keys, and reads those that came
// since from the chains. What it remembers only says where to look; whether a
// certificate is used is read from the records each time. The same reading tells which
// calibrations are no proof.

// certificateMemory are the calibrations that come with a certificate, by the hash of
// its number's key, those that are no proof by themselves, and how far each chain was
// read. Records never change, so neither does what is remembered of them.
type certificateMemory struct {
	mu       sync.Mutex
	by       map[uint64][]int64
	unproven []int64
	upTo     map[int64]int64 // the last key read, by site
	// generation counts how often everything was dropped: what was read for one does
	// not belong into the next.
	generation int
}

func newCertificateMemory() *certificateMemory {
	return &certificateMemory{by: map[uint64][]int64{}, upTo: map[int64]int64{}}
}

// numberedCalibration is the key of a calibration with the hash of its certificate's
// number, where it comes with one. It is unproven when it did not let the tool pass, no
// verdict is kept, or the document is no certificate.
type numberedCalibration struct {
	id                 int64
	hash               uint64
	numbered, unproven bool
}

// newCalibrations are those that were read from chains up to their heads, besides those
// that were remembered; unproven are the remembered ones that are no proof.
type newCalibrations struct {
	heads      map[int64]int64
	read       []numberedCalibration
	unproven   []int64
	generation int
}

// add takes in what was read, each calibration once.
func (m *certificateMemory) add(n newCalibrations) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if n.generation != m.generation {
		return
	}
	for _, r := range n.read {
		if r.id <= m.upTo[r.id>>sequenceBits] {
			continue
		}
		if r.numbered {
			m.by[r.hash] = append(m.by[r.hash], r.id)
		}
		if r.unproven {
			m.unproven = append(m.unproven, r.id)
		}
	}
	for site, head := range n.heads {
		m.upTo[site] = max(m.upTo[site], head)
	}
}

// forget drops everything.
func (m *certificateMemory) forget() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.by, m.unproven, m.upTo = map[uint64][]int64{}, nil, map[int64]int64{}
	m.generation++
}

func certificateHash(number string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(analysis.CertificateKey(number))) // a hash takes everything
	return h.Sum64()
}

// certificateLocks is how many locks the certificates share: enough that two servers
// seldom wait for one another, and few for one batch of many.
const certificateLocks = 64

// lookUpCertificates finds among all calibrations those whose certificates may be
// those of the rows, by the hash of the number. Until the commit no other server
// takes one of the numbers: it waits here, and reads what this one kept.
func (t *tx) lookUpCertificates(ctx context.Context, rows []*staged) (map[uint64][]int64, error) {
	wanted, locks := map[uint64]bool{}, map[int64]bool{}
	for _, r := range allRows(rows) {
		if c, ok := r.Record.(*ledger.Calibration); ok && analysis.CertificateKey(c.Certificate) != "" {
			hash := certificateHash(c.Certificate)
			wanted[hash], locks[int64(hash%certificateLocks)] = true, true
		}
	}
	if len(wanted) == 0 {
		return nil, nil
	}
	if lock := t.engine.lockNumbers(); lock != "" && !t.dry {
		// In one order, so that two servers do not each wait for the other.
		list := numbered(len(locks), func(put func(key, value int64)) {
			for _, k := range slices.Sorted(maps.Keys(locks)) {
				put(k, 0)
			}
		})
		if err := t.query(ctx, func(*sql.Rows) error { return nil }, lock, list); err != nil {
			return nil, err
		}
	}
	news, err := t.newCertificates(ctx)
	if err != nil {
		return nil, err
	}
	found := map[uint64][]int64{}
	m := t.certificates
	m.mu.Lock()
	for hash := range wanted {
		found[hash] = slices.Clone(m.by[hash])
	}
	m.mu.Unlock()
	for _, r := range news.read {
		if r.numbered && wanted[r.hash] && !slices.Contains(found[r.hash], r.id) {
			found[r.hash] = append(found[r.hash], r.id)
		}
	}
	t.learn(func() { m.add(news) })
	return found, nil
}

// unproven gives the keys of the calibrations that are no proof by themselves: all
// that this transaction sees, and perhaps some that came after.
func (t *tx) unproven(ctx context.Context) ([]int64, error) {
	news, err := t.newCertificates(ctx)
	if err != nil {
		return nil, err
	}
	t.certificates.add(news)
	keys := news.unproven
	for _, r := range news.read {
		if r.unproven {
			keys = append(keys, r.id)
		}
	}
	return keys, nil
}

// newCertificates reads the certificates and the outcome of the calibrations that are
// not remembered yet, and the heads of the chains up to which it read.
func (t *tx) newCertificates(ctx context.Context) (n newCalibrations, err error) {
	n.heads = map[int64]int64{}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var site, sequence int64
		err := rows.Scan(&site, &sequence)
		n.heads[site] = site<<sequenceBits | sequence
		return err
	}, "SELECT id, sequence FROM chains")
	if err != nil {
		return n, err
	}
	m := t.certificates
	m.mu.Lock()
	// They are only ever added to, so what is taken here stays as it is.
	n.unproven, n.generation = slices.Clip(m.unproven), m.generation
	list := numbered(len(n.heads), func(put func(key, value int64)) {
		for site, head := range n.heads {
			if after := max(m.upTo[site], site<<sequenceBits); after < head {
				put(after, head)
			}
		}
	})
	m.mu.Unlock()
	err = t.query(ctx, func(rows *sql.Rows) error {
		var certificate string
		var document ledger.CalibrationDocument
		var judged sql.RawBytes
		var r numberedCalibration
		err := rows.Scan(&r.id, &certificate, &document, &judged)
		if r.numbered = certificate != ""; r.numbered {
			r.hash = certificateHash(certificate)
		}
		r.unproven = document == ledger.DeclarationOfConformance || passedVerdict(judged) == nil
		n.read = append(n.read, r)
		return err
	}, "SELECT x.id, x.certificate, x.document, x.verdict FROM "+t.engine.numbers()+" b CROSS JOIN calibrations x WHERE x.id > b.key AND x.id <= b.value", list)
	return n, err
}

// certified gives another calibration that comes with the same certificate and that
// nobody took back; none when there is none. The calibration that this one replaces
// does not count.
func (t *tx) certified(ctx context.Context, c *ledger.Calibration, r *staged, b admission) (uuid.UUID, error) {
	hash := certificateHash(c.Certificate)
	for _, other := range b.taken[hash] {
		if analysis.SameCertificate(c, other) {
			return other.ID, nil
		}
	}
	var ids []any
	for _, id := range b.certificates[hash] {
		if id != r.instead.id && !b.spoken[id] {
			ids = append(ids, id)
		}
	}
	found := uuid.Nil
	err := inChunks(ids, 1, func(part []any) error {
		return t.query(ctx, func(rows *sql.Rows) error {
			var uid []byte
			other := &ledger.Calibration{}
			if err := rows.Scan(&uid, &other.Tool, &other.Laboratory, &other.Certificate); err != nil {
				return err
			}
			if analysis.SameCertificate(c, other) {
				found = idOf(uid)
			}
			return nil
		}, `SELECT r.uid, w.serial, x.laboratory, x.certificate FROM calibrations x JOIN records r ON r.id = x.id JOIN tools w ON w.id = r.tool_id
WHERE x.id IN `+marks(1, len(part))+" AND "+notCorrected, part...)
	})
	return found, err
}
