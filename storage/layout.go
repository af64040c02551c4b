package storage

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"strconv"
)

// ID names a trace in its store. IDs count from 1 and are never used again.
type ID uint64

// String prints the ID as a decimal number.
func (id ID) String() string { return strconv.FormatUint(uint64(id), 10) }

// ParseID reads what String prints.
func ParseID(text string) (ID, error) {
	v, err := strconv.ParseUint(text, 10, 64)
	if err != nil || v == 0 {
		return 0, fmt.Errorf("%q is not the number of a trace: numbers count from 1, as the list of traces shows them", text)
	}
	return ID(v), nil
}

// The buckets of the file. Keys that begin with a trace put it big-endian, so
// that byte order is number order.
const (
	bucketAbout     = "lobescribe" // schema and what else concerns the whole file
	bucketHeads     = "heads"      // trace -> Head
	bucketOpen      = "open"       // trace -> nothing: traces in the making
	bucketChunks    = "chunks"     // trace, first reading -> chunk, large
	bucketTail      = "tail"       // the same, small, of traces in the making
	bucketNotes     = "notes"      // trace, first note -> notes
	bucketFindings  = "findings"   // trace -> lift.Findings
	bucketSummaries = "summaries"  // trace -> Summary; made of the others
	bucketIndex     = "index"      // engine and valve, trace -> nothing; made of heads
	bucketDocs      = "docs"       // kind/name -> document
)

var allBuckets = []string{bucketAbout, bucketHeads, bucketOpen, bucketChunks, bucketTail,
	bucketNotes, bucketFindings, bucketSummaries, bucketIndex, bucketDocs}

// keyForms proves the keys of the buckets that go by trace. Those of the others
// are names, which their values and each other prove.
var keyForms = map[string]func(k []byte) bool{
	bucketHeads: isTraceKey, bucketOpen: isTraceKey, bucketFindings: isTraceKey, bucketSummaries: isTraceKey,
	bucketChunks: isSpanKey, bucketTail: isSpanKey, bucketNotes: isSpanKey,
}

func isTraceKey(k []byte) bool { _, ok := splitTraceKey(k); return ok }

func isSpanKey(k []byte) bool { _, _, ok := splitSpanKey(k); return ok }

const (
	keySchema = "schema"
	keyProof  = "schema-proof" // the same behind a checksum
)

func traceKey(id ID) []byte { return binary.BigEndian.AppendUint64(nil, uint64(id)) }

func spanKey(id ID, first uint64) []byte {
	return binary.BigEndian.AppendUint64(traceKey(id), first)
}

func splitTraceKey(k []byte) (ID, bool) {
	if len(k) != 8 {
		return 0, false
	}
	return ID(binary.BigEndian.Uint64(k)), true
}

func splitSpanKey(k []byte) (ID, uint64, bool) {
	if len(k) != 16 {
		return 0, 0, false
	}
	return ID(binary.BigEndian.Uint64(k)), binary.BigEndian.Uint64(k[8:]), true
}

// Index keys: a letter for what is indexed, the names (each ended by a zero
// byte, zeros inside a name left out), and the trace.
func indexPrefix(engine, valve string) []byte {
	var k []byte
	switch {
	case engine != "" && valve != "":
		k = append(k, 'b')
	case engine != "":
		k = append(k, 'e')
	default:
		k = append(k, 'v')
	}
	for _, name := range []string{engine, valve} {
		if name == "" {
			continue
		}
		for _, c := range []byte(name) {
			if c != 0 {
				k = append(k, c)
			}
		}
		k = append(k, 0)
	}
	return k
}

// indexKeys lists every index key of a trace.
func indexKeys(id ID, engine, valve string) [][]byte {
	var keys [][]byte
	add := func(e, v string) { keys = append(keys, append(indexPrefix(e, v), traceKey(id)...)) }
	if engine != "" {
		add(engine, "")
	}
	if valve != "" {
		add("", valve)
	}
	if engine != "" && valve != "" {
		add(engine, valve)
	}
	return keys
}

// What stands in a sealed value. The letter is under the checksum, and so is
// the key: a value found loose, or under the wrong key, is known for what it is.
const (
	sealHead     = 'h'
	sealNotes    = 'n'
	sealFindings = 'f'
	sealSummary  = 's'
	sealDoc      = 'd'
	sealSchema   = 'v'
)

// sealedBytes is what a seal adds: 'L', kind, version, 0, CRC-32C of all else.
const sealedBytes = 8

const sealVersion = 1

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

var (
	errSealBroken = errors.New("its checksum does not fit its bytes")
	errSealNewer  = errors.New("it was written by a newer version")
)

// seal returns v as JSON behind a checksum that also covers the key.
func seal(kind byte, key []byte, v any) ([]byte, error) {
	payload, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	b := make([]byte, sealedBytes, sealedBytes+len(payload))
	b[0], b[1], b[2] = 'L', kind, sealVersion
	b = append(b, payload...)
	binary.LittleEndian.PutUint32(b[4:], sealSum(key, b))
	return b, nil
}

func sealSum(key, b []byte) uint32 {
	sum := crc32.Checksum(b[:4], castagnoli)
	sum = crc32.Update(sum, castagnoli, key)
	return crc32.Update(sum, castagnoli, b[sealedBytes:])
}

// sealed returns the JSON of a sealed value, which shares b's memory.
func sealed(kind byte, key, b []byte) (json.RawMessage, error) {
	if len(b) < sealedBytes || b[0] != 'L' || b[1] != kind || sealSum(key, b) != binary.LittleEndian.Uint32(b[4:]) {
		return nil, errSealBroken
	}
	if b[2] != sealVersion {
		return nil, errSealNewer
	}
	return b[sealedBytes:], nil
}

// unseal reads a sealed value into v.
func unseal(kind byte, key, b []byte, v any) error {
	payload, err := sealed(kind, key, b)
	if err != nil {
		return err
	}
	return json.Unmarshal(payload, v)
}
