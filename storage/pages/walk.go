package pages

import (
	"bytes"
	"fmt"
	"slices"
)

// A Walk is one passage through the tree of a meta.
type Walk struct {
	f    *File
	m    Meta
	item func(Item) bool

	// Hurts are the pages that are not right, in the order in which they were
	// found. What hangs on them was not visited.
	Hurts []*Hurt
	// Free counts the pages on the free list; Idle those that are neither free
	// nor in use: room that is lost, nothing worse.
	Free, Idle int

	used    []bool // by page number
	free    []bool
	stopped bool
}

// Walk visits every key of the tree below m, bucket by bucket and in order,
// and proves on the way that each page is whole, is referred to once and is
// not free. Before the keys of a bucket comes an item with a nil key, for the
// bucket itself. item may be nil, and stops the walk by returning false; then
// the free list is not looked at.
func (f *File) Walk(m Meta, item func(Item) bool) *Walk {
	w := &Walk{f: f, m: m, item: item}
	if item == nil {
		w.item = func(Item) bool { return true }
	}
	// A page number beyond the file is a hurt wherever it is met, so the
	// tables need not be larger than the file.
	n := min(m.Pages, uint64(f.size/m.PageSize)+1)
	w.used, w.free = make([]bool, n), make([]bool, n)
	for i := range min(n, 2) {
		w.used[i] = true
	}
	if m.Pages > uint64(f.size/m.PageSize) {
		w.hurt(m.Pages-1, "", fmt.Sprintf("the file is cut off: it ends after %d bytes of %d pages of %d", f.size, m.Pages, m.PageSize))
	}
	w.readFree()
	w.tree(m.Root, "", nil, nil, 0, w.topLevel)
	if !w.stopped {
		for i := range w.used {
			if w.free[i] {
				w.Free++
			} else if !w.used[i] {
				w.Idle++
			}
		}
	}
	return w
}

// Meta returns the head of the tree that was walked.
func (w *Walk) Meta() Meta { return w.m }

func (w *Walk) hurt(page uint64, bucket, why string) {
	w.Hurts = append(w.Hurts, &Hurt{page, bucket, why})
}

// take loads a page of the tree and marks its pages as used.
func (w *Walk) take(id uint64, bucket string) (page, bool) {
	ps := w.m.PageSize
	if id < 2 || id >= w.m.Pages || id >= uint64(len(w.used)) {
		w.hurt(id, bucket, "it lies beyond the end of the file")
		return page{}, false
	}
	at := int64(id) * ps
	p, err := w.f.load(at, w.f.size-at, ps)
	if err != nil {
		w.hurt(id, bucket, err.Error())
		return p, false
	}
	last := id + uint64(p.overflow)
	switch {
	case p.id != id:
		w.hurt(id, bucket, fmt.Sprintf("it says that it is page %d", p.id))
		return p, false
	case last >= w.m.Pages || last >= uint64(len(w.used)):
		w.hurt(id, bucket, "it runs beyond the end of the file")
		return p, false
	}
	for i := id; i <= last; i++ {
		if w.used[i] {
			w.hurt(id, bucket, "it is referred to twice")
			return p, false
		}
		if w.free[i] {
			w.hurt(id, bucket, "it is in use and on the list of free pages")
			return p, false
		}
	}
	for i := id; i <= last; i++ {
		w.used[i] = true
	}
	p.span = min((int64(p.overflow)+1)*ps, w.f.size-at)
	return p, true
}

// tree visits the leaves below a page, whose keys are at least lo and under hi.
func (w *Walk) tree(id uint64, bucket string, lo, hi []byte, depth int, leaf func(*page, elem)) {
	if w.stopped {
		return
	}
	if depth > maxDepth {
		w.hurt(id, bucket, "the tree is too deep to be true")
		return
	}
	p, ok := w.take(id, bucket)
	if !ok {
		return
	}
	if p.kind != kindBranch && p.kind != kindLeaf {
		w.hurt(id, bucket, fmt.Sprintf("it is of kind %d, neither branch nor leaf", p.kind))
		return
	}
	elems, why := p.elems(lo, hi)
	if why != "" {
		w.hurt(id, bucket, why)
	}
	if p.kind == kindLeaf {
		for _, e := range elems {
			if w.stopped {
				return
			}
			leaf(&p, e)
		}
		return
	}
	if len(elems) == 0 && why == "" {
		w.hurt(id, bucket, "it is an empty branch")
	}
	for i, e := range elems {
		below := hi
		if i+1 < len(elems) {
			below = elems[i+1].key
		}
		w.tree(e.child, bucket, e.key, below, depth+1, leaf)
	}
}

// elems reads all elements, and says why it stopped if it did: what comes
// after a broken one cannot be trusted. The database writes keys and values
// back to back behind the elements, so a wrong count or length shows as a gap
// or an overlap, even where every key is still in order.
func (p *page) elems(lo, hi []byte) (out []elem, why string) {
	end := int64(headBytes + p.count*elemBytes)
	if end > p.span {
		return nil, "it has more entries than room"
	}
	var keys []byte // they outlive the page: keys of branches, names of buckets, of what is found
	out = make([]elem, 0, min(p.count, 512))
	for i := range p.count {
		e, err := p.elem(i)
		switch {
		case err != nil:
			return out, err.Error()
		case i == 0 && e.keyOff != end:
			return nil, "its first key does not stand behind its entries: their number is wrong"
		case e.keyOff != end:
			// Which of the two is wrong cannot be told.
			return out[:i-1], fmt.Sprintf("entry %d does not begin where the one before it ends", i)
		case i > 0 && bytes.Compare(out[i-1].key, e.key) >= 0,
			lo != nil && bytes.Compare(e.key, lo) < 0,
			hi != nil && bytes.Compare(e.key, hi) >= 0:
			return out, fmt.Sprintf("the key of entry %d is out of order", i)
		}
		end = e.valOff + e.size
		n := len(keys)
		keys = append(keys, e.key...)
		e.key = keys[n:len(keys):len(keys)]
		out = append(out, e)
	}
	return out, ""
}

// topLevel takes an entry of the root: a bucket.
func (w *Walk) topLevel(p *page, e elem) {
	name := string(e.key)
	if e.flags&bucketFlag == 0 {
		w.hurt(p.id, "", fmt.Sprintf("entry %q is no bucket", clip(name)))
		return
	}
	head := p.bytes(e.valOff, min(e.size, 16))
	if len(head) < 16 {
		w.hurt(p.id, name, "the bucket has no head")
		return
	}
	root, sequence := native.Uint64(head), native.Uint64(head[8:])
	if !w.item(Item{Bucket: name, Sequence: sequence}) {
		w.stopped = true
		return
	}
	leaf := func(p *page, e elem) {
		if e.flags&bucketFlag != 0 {
			w.hurt(p.id, name, "there is a bucket in a bucket")
			return
		}
		if !w.item(Item{Bucket: name, Key: e.key, Offset: p.at + e.valOff, Size: int(e.size)}) {
			w.stopped = true
		}
	}
	if root != 0 {
		w.tree(root, name, nil, nil, 0, leaf)
		return
	}
	// A small bucket stands inside the value, as a leaf page of its own.
	in, err := w.f.load(p.at+e.valOff+16, e.size-16, e.size-16)
	if err != nil || in.kind != kindLeaf {
		w.hurt(p.id, name, "the bucket inside it is no leaf")
		return
	}
	in.id, in.span = p.id, e.size-16
	elems, why := in.elems(nil, nil)
	if why != "" {
		w.hurt(p.id, name, why)
	}
	for _, e := range elems {
		if w.stopped {
			return
		}
		leaf(&in, e)
	}
}

func clip(s string) string { return s[:min(len(s), 32)] }

// readFree reads the list of free pages.
func (w *Walk) readFree() {
	if w.m.Freelist == noFreelist {
		return
	}
	p, ok := w.take(w.m.Freelist, "")
	if !ok {
		return
	}
	if p.kind != kindFreelist {
		w.hurt(p.id, "", fmt.Sprintf("it is of kind %d, not the list of free pages", p.kind))
		return
	}
	n, at := int64(p.count), int64(headBytes)
	if n == 0xffff {
		b := p.bytes(at, 8)
		if b == nil {
			w.hurt(p.id, "", "the list of free pages has no length")
			return
		}
		n, at = int64(min(native.Uint64(b), maxPageBytes)), at+8
	}
	ids := p.bytes(at, n*8)
	if ids == nil {
		w.hurt(p.id, "", "the list of free pages is longer than its page")
		return
	}
	for ids := range slices.Chunk(ids, 8) {
		id := native.Uint64(ids)
		switch {
		case id < 2 || id >= w.m.Pages:
			w.hurt(p.id, "", fmt.Sprintf("the list of free pages names page %d, which there is not", id))
			return
		case id >= uint64(len(w.free)): // beyond a cut file; said already
		case w.free[id] || w.used[id]:
			w.hurt(p.id, "", fmt.Sprintf("the list of free pages names page %d, which is not free", id))
			return
		default:
			w.free[id] = true
		}
	}
}
