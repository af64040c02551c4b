package storage

import (
	"bytes"
	"encoding/json"
	"regexp"
	"strings"

	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
)

// Schema 1 kept top dead centre as a bare angle, "tdc_deg", and the rest as a line
// of English in the engine's notes, which the page read back. Schema 2 keeps it
// as data, "tdc".

// tdcAsData takes every engine of a store from schema 1 to 2. One that does not
// read stays as it is.
func tdcAsData(tx *bbolt.Tx) error {
	docs := tx.Bucket([]byte(bucketDocs))
	prefix := []byte(kindEngine + "/")
	changed := map[string][]byte{}
	c := docs.Cursor()
	for k, v := c.Seek(prefix); bytes.HasPrefix(k, prefix); k, v = c.Next() {
		var d storedDoc
		if unseal(sealDoc, k, v, &d) != nil {
			continue
		}
		doc, ok := tdcOutOfNotes(d.Doc)
		if !ok {
			continue
		}
		d.Doc = doc
		sealed, err := seal(sealDoc, k, d)
		if err != nil {
			return err
		}
		changed[string(k)] = sealed
	}
	for k, v := range changed { // not while the cursor walks
		if err := docs.Put([]byte(k), v); err != nil {
			return err
		}
	}
	return nil
}

// tdcLine is the line in which schema 1 kept how top dead centre was found.
var tdcLine = regexp.MustCompile(`^Top dead centre of cylinder 1: the encoder shows (-?\d+(?:\.\d+)?)°(?: ± (\d+(?:\.\d+)?)°)? there, (.+) on (\d{4}-\d\d-\d\d)\.$`)

// tdcMethods are the ways as that line says them.
var tdcMethods = map[string]TDCMethod{
	"found with a stop in the plug hole":     TDCByStop,
	"found with the indicator on the piston": TDCByPiston,
	"typed in":                               TDCTyped,
}

// tdcOutOfNotes returns an engine of schema 1 as schema 2 has it; false when
// there is nothing to change. A line about another angle than the one that is
// kept is of an older one, and goes.
func tdcOutOfNotes(doc json.RawMessage) (json.RawMessage, bool) {
	var e map[string]json.RawMessage
	if json.Unmarshal(doc, &e) != nil {
		return doc, false
	}
	var notes string
	_ = json.Unmarshal(e["notes"], &notes)
	var angle *measure.Angle
	_ = json.Unmarshal(e["tdc_deg"], &angle)
	var lines []string
	tdc := TopDeadCentre{}
	if angle != nil {
		tdc.Angle = *angle
	}
	for line := range strings.SplitSeq(notes, "\n") {
		said := tdcLine.FindStringSubmatch(strings.TrimSpace(line))
		if said == nil {
			lines = append(lines, line)
			continue
		}
		if at, err := measure.ParseAngle(said[1]); err != nil || angle == nil || at != *angle {
			continue
		}
		tdc.U, _ = measure.ParseAngle(said[2]) // zero where the line had none
		tdc.Method, tdc.On = tdcMethods[said[3]], said[4]
	}
	kept := strings.Join(lines, "\n")
	if e["tdc_deg"] == nil && kept == notes {
		return doc, false
	}
	delete(e, "tdc_deg")
	set := func(name string, v any) {
		if text, err := json.Marshal(v); err == nil { // a string, or plain fields
			e[name] = text
		}
	}
	if angle != nil && e["tdc"] == nil {
		set("tdc", tdc)
	}
	if kept != notes {
		set("notes", kept)
	}
	out, err := json.Marshal(e)
	return out, err == nil
}
