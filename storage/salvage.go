package storage

import (
	"bytes"
	"cmp"
	"encoding/json"
	"os"
	"slices"

	"lobescribe/storage/chunk"
	"lobescribe/storage/pages"
)

// salvaged is what a damaged file still holds, as rows. Only keys are in
// memory; values are read when they are asked for.
type salvaged struct {
	file      *os.File
	pf        *pages.File
	tables    map[string][]pages.Item // by key
	sequences map[string]uint64
	hurts     []*Damage
	older     []string // documents that were taken from an earlier writing
}

func (s *salvaged) close() error {
	if s.file == nil {
		return nil
	}
	return s.file.Close()
}

func byKey(a, b pages.Item) int { return bytes.Compare(a.Key, b.Key) }

func (s *salvaged) find(bucket string, key []byte) (int, bool) {
	return slices.BinarySearchFunc(s.tables[bucket], key, func(it pages.Item, k []byte) int { return bytes.Compare(it.Key, k) })
}

// value never returns nil: what cannot be read is there, and is not whole.
func (s *salvaged) value(it pages.Item) []byte {
	v, err := s.pf.Value(it)
	if err != nil || v == nil {
		return []byte{}
	}
	return v
}

func (s *salvaged) get(bucket string, key []byte) []byte {
	i, ok := s.find(bucket, key)
	if !ok {
		return nil
	}
	return s.value(s.tables[bucket][i])
}

func (s *salvaged) ascend(bucket string, from []byte, yield func(k, v []byte) bool) {
	i, _ := s.find(bucket, from)
	for _, it := range s.tables[bucket][i:] {
		if !yield(it.Key, s.value(it)) {
			return
		}
	}
}

func (s *salvaged) descend(bucket string, below []byte, yield func(k, v []byte) bool) {
	table := s.tables[bucket]
	i := len(table)
	if below != nil {
		i, _ = s.find(bucket, below)
	}
	for _, it := range slices.Backward(table[:i]) {
		if !yield(it.Key, s.value(it)) {
			return
		}
	}
}

// salvage gathers what a file with hurt pages still holds: first what the
// newest tree reaches, then, for what that lacks, everything lying loose that
// has a checksum of ours. Loose values are of an older state; they fill
// holes and replace nothing that reads.
func salvage(pf *pages.File, hurts []*pages.Hurt) (*salvaged, error) {
	s := &salvaged{pf: pf, tables: map[string][]pages.Item{}, sequences: map[string]uint64{}}
	for _, h := range hurts {
		s.hurts = append(s.hurts, &Damage{Part: PartPages, Name: h.Bucket, Why: h.Error()})
	}
	if metas := pf.Metas(); len(metas) > 0 {
		pf.Walk(metas[0], func(it pages.Item) bool {
			if it.Key == nil {
				s.sequences[it.Bucket] = it.Sequence
			} else {
				s.tables[it.Bucket] = append(s.tables[it.Bucket], it)
			}
			return true
		})
	}
	for _, table := range s.tables {
		slices.SortFunc(table, byKey)
	}
	s.addLoose()
	s.addHeadless()
	return s, nil
}

// chunkReads says whether a value is a whole chunk under its own key.
func chunkReads(k, v []byte) bool {
	h, err := chunk.Peek(v)
	id, first, ok := splitSpanKey(k)
	return err == nil && ok && ID(h.Trace) == id && h.First == first
}

// ours reads an item that lies loose and says in which bucket it belongs, and
// which of several writings of the same it is.
func ours(pf *pages.File, it pages.Item) (bucket string, writing uint64, ok bool) {
	if it.Size < sealedBytes || len(it.Key) == 0 {
		return "", 0, false
	}
	v, err := pf.Value(it)
	if err != nil || v[0] != 'L' {
		return "", 0, false
	}
	if h, err := chunk.Peek(v); err == nil {
		id, first, ok := splitSpanKey(it.Key)
		return bucketChunks, uint64(h.Count), ok && ID(h.Trace) == id && h.First == first
	}
	for kind, bucket := range map[byte]string{sealHead: bucketHeads, sealNotes: bucketNotes, sealFindings: bucketFindings, sealDoc: bucketDocs} {
		if v[1] != kind {
			continue
		}
		payload, err := sealed(kind, it.Key, v)
		if err != nil {
			return "", 0, false
		}
		var age struct {
			Writing uint64 `json:"writing"`
			Rev     uint64 `json:"rev"`
		}
		_ = json.Unmarshal(payload, &age) // a list has neither
		return bucket, max(age.Writing, age.Rev), true
	}
	return "", 0, false
}

type loose struct {
	pages.Item
	writing uint64 // readings, for a chunk
}

func (s *salvaged) addLoose() {
	found := map[string]map[string]loose{} // bucket, key
	s.pf.Loose(func(it pages.Item) bool {
		bucket, writing, ok := ours(s.pf, it)
		if !ok {
			return true
		}
		if found[bucket] == nil {
			found[bucket] = map[string]loose{}
		}
		if had, ok := found[bucket][string(it.Key)]; !ok || writing > had.writing {
			it.Bucket = bucket
			found[bucket][string(it.Key)] = loose{it, writing}
		}
		return true
	})
	s.addScanned(found)
	for _, bucket := range []string{bucketHeads, bucketNotes, bucketFindings, bucketDocs} {
		table := s.tables[bucket]
		for i, it := range table {
			if _, _, ok := ours(s.pf, it); ok {
				delete(found[bucket], string(it.Key))
			} else if l, ok := found[bucket][string(it.Key)]; ok {
				table[i] = l.Item
				s.fromEarlier(bucket, it.Key)
				delete(found[bucket], string(it.Key))
			}
		}
		for _, l := range found[bucket] {
			table = append(table, l.Item)
			s.fromEarlier(bucket, l.Key)
		}
		slices.SortFunc(table, byKey)
		s.tables[bucket] = table
	}
	s.chainChunks(found[bucketChunks])
}

// fromEarlier notes that a document is of an earlier writing, which may not say what
// the last one did; or was deleted, for all that is known.
func (s *salvaged) fromEarlier(bucket string, key []byte) {
	if bucket == bucketDocs && !isRepairKey(key) {
		s.older = append(s.older, string(key))
	}
}

// addScanned finds chunks whose page has lost its head or its entries: a chunk
// knows its own bounds, and where it belongs.
func (s *salvaged) addScanned(found map[string]map[string]loose) {
	cut := func(b []byte) int { return len(chunk.Cut(b)) }
	s.pf.Scan([]byte(chunk.Magic), maxChunkBytes, cut, func(b []byte, at int64) {
		h, err := chunk.Peek(b)
		if err != nil {
			return
		}
		key := spanKey(ID(h.Trace), h.First)
		if found[bucketChunks] == nil {
			found[bucketChunks] = map[string]loose{}
		}
		if had, ok := found[bucketChunks][string(key)]; !ok || uint64(h.Count) > had.writing {
			found[bucketChunks][string(key)] = loose{pages.Item{Bucket: bucketChunks, Key: key, Offset: at, Size: len(b)}, uint64(h.Count)}
		}
	})
}

// maxChunkBytes is more than a chunk of mergeReadings can take: three columns
// of numbers that no rule foretells, at 11 bytes each.
const maxChunkBytes = mergeReadings*3*11 + 4096

// chainChunks makes one table of all chunks, large, small and loose: of those
// that are whole, as many as it takes to cover each trace; of those that are
// not, the ones in whose place nothing whole was found.
func (s *salvaged) chainChunks(found map[string]loose) {
	var all []loose
	var broken []pages.Item
	for _, bucket := range []string{bucketChunks, bucketTail} {
		for _, it := range s.tables[bucket] {
			if _, n, ok := ours(s.pf, it); ok {
				all = append(all, loose{it, n})
			} else {
				broken = append(broken, it)
			}
		}
	}
	for _, l := range found {
		all = append(all, l)
	}
	slices.SortFunc(all, func(a, b loose) int {
		return cmp.Or(bytes.Compare(a.Key, b.Key), cmp.Compare(b.writing, a.writing))
	})
	var chain []pages.Item
	var trace ID
	var next uint64
	for _, l := range all {
		id, first, _ := splitSpanKey(l.Key)
		if id != trace {
			trace, next = id, 0
		}
		if first+l.writing <= next {
			continue
		}
		next = first + l.writing
		chain = append(chain, l.Item)
	}
	s.tables[bucketTail] = nil
	s.tables[bucketChunks] = chain
	for _, it := range broken {
		if i, ok := s.find(bucketChunks, it.Key); !ok {
			s.tables[bucketChunks] = slices.Insert(s.tables[bucketChunks], i, it)
		}
	}
}

// addHeadless gives a trace whose head is gone an empty one, so that lists
// show it.
func (s *salvaged) addHeadless() {
	for _, it := range s.tables[bucketChunks] {
		id, _, ok := splitSpanKey(it.Key)
		if !ok {
			continue
		}
		key := traceKey(id)
		if i, ok := s.find(bucketHeads, key); !ok {
			s.tables[bucketHeads] = slices.Insert(s.tables[bucketHeads], i, pages.Item{Bucket: bucketHeads, Key: key})
		}
	}
}
