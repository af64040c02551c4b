package shop

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/chunk"
)

const someOrigin = "00112233445566ff"

var someKey = Key(someOrigin, 7, time.Unix(1_790_000_000, 5))

func someReadings(n int) []measure.Reading {
	rs := make([]measure.Reading, n)
	for i := range rs {
		rs[i] = measure.Reading{At: measure.Stamp(i) * 10_000, Lift: measure.Length(i%500) * 12_700, Angle: measure.Angle(i) * 150_000, Has: measure.HasLift | measure.HasAngle}
	}
	return rs
}

func partOf(key string, first uint64, rs []measure.Reading) *Part {
	var enc chunk.Encoder
	return &Part{Key: key, First: first, Count: len(rs), Chunk: enc.Append(nil, 0, first, rs)}
}

func someMessages() []Message {
	u := measure.Length(2540)
	return []Message{
		{Bench: "bench-1", Origin: someOrigin, Part: partOf(someKey, 0, someReadings(300))},
		{Bench: "bench-1", Origin: someOrigin, Number: 12, Trace: &Trace{Key: someKey, Readings: 300, Digest: "0", Engine: &Ref{someOrigin, "v8"},
			Head:     storage.Head{Started: time.Unix(1_790_000_000, 5).UTC(), Engine: "v8", Valve: "3I", Remark: "umläute, “quotes”"},
			Notes:    []measure.Note{{At: 5, Kind: measure.NoteMark}},
			Findings: &lift.Findings{Openings: []lift.Opening{{MaxLift: 10_668_000, MaxLiftU: u}}, MaxLift: 10_668_000, Faults: []lift.Fault{}}}},
		{Bench: "bench-1", Origin: someOrigin, Number: 13, Document: &Document{Kind: storage.ErrandEngine, Ref: Ref{someOrigin, "v8.left"}, Rev: 3, Doc: json.RawMessage(`{"id":"v8.left","cylinders":8}`)}},
		{Bench: "bench-1", Origin: someOrigin, Number: 14, Document: &Document{Kind: storage.ErrandTrial, Ref: Ref{someOrigin, "t000001"}, Gone: true}},
	}
}

func TestMessagesComeBackAsTheyWere(t *testing.T) {
	for _, m := range someMessages() {
		frame, id, err := Encode(m)
		require.NoError(t, err)
		again, sameID, err := Encode(m)
		require.NoError(t, err)
		assert.Equal(t, id, sameID)
		assert.Equal(t, frame, again)
		got, gotID, err := Decode(frame)
		require.NoError(t, err)
		assert.Equal(t, id, gotID)
		assert.Equal(t, m, got)
	}
}

func TestSubjectsAreOfTheBenchThatSpeaks(t *testing.T) {
	var subjects []string
	for _, m := range someMessages() {
		subjects = append(subjects, m.Subject())
		bench, kind := heard{subject: m.Subject()}.words()
		assert.Equal(t, "bench-1", bench)
		assert.Equal(t, m.Kind(), kind)
	}
	assert.Equal(t, []string{
		"lobescribe.shop.bench-1.readings." + someKey,
		"lobescribe.shop.bench-1.trace." + someKey,
		"lobescribe.shop.bench-1.document.engine.00112233445566ff~v8~left",
		"lobescribe.shop.bench-1.document.trial.00112233445566ff~t000001",
	}, subjects)
}

func TestBenchNames(t *testing.T) {
	for host, want := range map[string]string{"Stand3.shop.example": "stand3", "BENCH 7": "bench-7", "": "bench", "---": "bench",
		"a-very-long-name-of-a-machine-in-the-back": "a-very-long-name-of-a-ma", "ü": "bench", "mule_1": "mule_1"} {
		assert.Equal(t, want, BenchFor(host), host)
	}
	rapid.Check(t, func(t *rapid.T) {
		if err := CheckBench(BenchFor(rapid.String().Draw(t, "host"))); err != nil {
			t.Fatal(err)
		}
	})
	for _, bad := range []string{"", "a.b", "a b", "*", ">", "Upper", strings.Repeat("a", 25)} {
		assert.ErrorContains(t, CheckBench(bad), "small letters")
	}
}

// reseal gives a frame the checksum of its bytes.
func reseal(frame []byte) []byte {
	frame = bytes.Clone(frame)
	binary.LittleEndian.PutUint32(frame[4:], frameSum(frame))
	return frame
}

func TestHostileMessagesAreToldApart(t *testing.T) {
	good, _, err := Encode(someMessages()[1])
	require.NoError(t, err)
	with := func(change func([]byte) []byte) []byte { return change(bytes.Clone(good)) }
	body := func(text string, rest ...byte) []byte {
		b := append([]byte{'L', 'm', 1, 0, 0, 0, 0, 0}, binary.AppendUvarint(nil, uint64(len(text)))...)
		return reseal(append(append(b, text...), rest...))
	}
	whose := `{"bench":"b","origin":"` + someOrigin + `",`
	key := strings.Repeat("a", 32)
	for name, c := range map[string]struct {
		frame []byte
		want  error
	}{
		"nothing":         {nil, ErrFrame},
		"something else":  {[]byte("GET / HTTP/1.1\r\n\r\n"), ErrFrame},
		"a flipped bit":   {with(func(b []byte) []byte { b[len(b)/2] ^= 4; return b }), ErrChecksum},
		"cut off":         {good[:len(good)-1], ErrChecksum},
		"cut off, sealed": {reseal(good[:len(good)-9]), ErrFrame},
		"a later version": {with(func(b []byte) []byte { b[2] = 2; return reseal(b) }), ErrNewer},
		"another coding":  {with(func(b []byte) []byte { b[3] = 9; return reseal(b) }), ErrNewer},
		"breaks off":      {reseal([]byte{'L', 'm', 1, 0, 0, 0, 0, 0, 200, 1, '{'}), ErrFrame},
		"no JSON":         {body("nonsense"), ErrMeaning},
		"of nobody":       {body(`{"trace":{}}`), ErrMeaning},
		"says nothing":    {body(whose + `"x":1}`), ErrMeaning},
		"says two things": {body(whose + `"trace":{"key":"` + key + `"},"part":{"key":"` + key + `","count":1}}`), ErrMeaning},
		"a key with dots": {body(whose + `"trace":{"key":"a.b"}}`), ErrMeaning},
		"endless":         {body(whose + `"trace":{"key":"` + key + `","readings":99999999999}}`), ErrMeaning},
		"an odd kind":     {body(whose + `"document":{"kind":"bench","ref":{"origin":"` + someOrigin + `","name":"x"}}}`), ErrMeaning},
		"more behind it":  {body(whose+`"trace":{"key":"`+key+`"}}`, 1, 2), ErrFrame},
	} {
		_, _, err := Decode(c.frame)
		assert.ErrorIs(t, err, c.want, name)
		assert.NotEmpty(t, refusal(err), name)
	}
}

func TestADeflatedBodyIsBounded(t *testing.T) {
	frame := append([]byte{'L', 'm', 1, 1, 0, 0, 0, 0}, deflate(make([]byte, mostBody+2))...)
	require.Less(t, len(frame), 100_000)
	_, _, err := Decode(reseal(frame))
	assert.ErrorIs(t, err, ErrMeaning)
}

func TestPartsPutTogetherAreTheReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 3*partReadings+7).Draw(t, "readings")
		want := someReadings(n)
		batches := func(yield func([]measure.Reading, error) bool) {
			for rest := want; len(rest) > 0; {
				k := min(len(rest), rapid.IntRange(1, 20_000).Draw(t, "batch"))
				if !yield(rest[:k], nil) {
					return
				}
				rest = rest[k:]
			}
		}
		var dec chunk.Decoder
		var got []measure.Reading
		d := newDigest()
		for p, err := range cut(batches) {
			if err != nil || p.First != uint64(len(got)) {
				t.Fatalf("part at %d, %d readings before it: %v", p.First, len(got), err)
			}
			before := len(got)
			if got, _, err = dec.Append(got, p.Chunk); err != nil {
				t.Fatal(err)
			}
			d.add(got[before:])
			if p.Count < 2 {
				continue
			}
			a, b, err := halve(p)
			if err != nil || a.Count+b.Count != p.Count || b.First != a.First+uint64(a.Count) {
				t.Fatalf("halves of %d: %d and %d (%v)", p.Count, a.Count, b.Count, err)
			}
		}
		if len(got) != n {
			t.Fatalf("%d of %d readings came back", len(got), n)
		}
		for i := range got {
			if got[i] != want[i] {
				t.Fatalf("reading %d: %v, not %v", i, got[i], want[i])
			}
		}
		whole := newDigest()
		whole.add(want)
		if whole.sum() != d.sum() {
			t.Fatal("the digest depends on how the readings are cut")
		}
	})
}

// seeds are in testdata, so that the corpus is there without a fuzzer's cache.
const corpus = "../../testdata/shop/messages"

func TestTheCorpusIsThere(t *testing.T) {
	names, err := filepath.Glob(corpus + "/*.bytes")
	require.NoError(t, err)
	if os.Getenv("LOBESCRIBE_WRITE_TESTDATA") != "" {
		require.NoError(t, os.MkdirAll(corpus, 0o755))
		for i, m := range someMessages() {
			frame, _, err := Encode(m)
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(filepath.Join(corpus, string(m.Kind())+string(rune('1'+i))+".bytes"), frame, 0o644))
		}
		return
	}
	// What one version wrote, every later one reads.
	require.Len(t, names, len(someMessages()))
	kinds := map[Kind]int{}
	for _, name := range names {
		frame, err := os.ReadFile(name)
		require.NoError(t, err)
		m, _, err := Decode(frame)
		require.NoError(t, err, name)
		kinds[m.Kind()]++
	}
	assert.Equal(t, map[Kind]int{KindReadings: 1, KindTrace: 1, KindDocument: 2}, kinds)
}

// A message that decodes is one that encodes to the same; and nothing panics.
func FuzzDecode(f *testing.F) {
	names, err := filepath.Glob(corpus + "/*.bytes")
	if err != nil || len(names) == 0 {
		f.Fatalf("no seeds in %s (%v)", corpus, err)
	}
	for _, name := range names {
		frame, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(frame)
	}
	f.Fuzz(func(t *testing.T, frame []byte) {
		if len(frame) >= frameBytes {
			frame = reseal(frame) // or the checksum is all that is ever tried
		}
		m, _, err := Decode(frame)
		if err != nil {
			if refusal(err) == "" {
				t.Fatalf("%v is no refusal", err)
			}
			return
		}
		again, id, err := Encode(m)
		if err != nil {
			return // JSON that reads and that nobody writes
		}
		back, backID, err := Decode(again)
		if err != nil || backID != id || back.Subject() != m.Subject() {
			t.Fatalf("%v came back as %v: %v", m, back, err)
		}
	})
}
