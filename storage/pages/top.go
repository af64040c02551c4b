package pages

import "io"

// TopReads says whether the pages above the buckets read, and with them the small
// buckets that stand inside. The database copies such a bucket into memory of the
// program and believes what it says of itself: with a wrong length in it an entry
// reaches over whatever lies behind, and the program ends when its memory is next
// tidied up, which no recover catches.
//
// Others may write meanwhile: what is looked at is what the newest head has.
func TopReads(r io.ReaderAt, pageSize int64) error {
	f := &File{r: r, size: 1<<63 - 1}
	for {
		m := f.newest(pageSize)
		if m.PageSize == 0 {
			return nil // who asks for the heads says so
		}
		hurt := f.top(m, m.Root, nil, nil, 0)
		if hurt == nil {
			return nil
		}
		if f.newest(pageSize).Tx == m.Tx { // else the page may have been given up and written again
			return hurt
		}
	}
}

// top looks at a page above the buckets, and at those below it.
func (f *File) top(m Meta, id uint64, lo, hi []byte, depth int) *Hurt {
	hurt := func(why string) *Hurt { return &Hurt{Page: id, Why: why} }
	if id < 2 || id >= m.Pages || depth > maxDepth {
		return hurt("it lies beyond the end of the file, or too deep to be true")
	}
	p, err := f.load(int64(id)*m.PageSize, m.PageSize, m.PageSize)
	switch {
	case err != nil:
		return hurt(err.Error())
	case p.id != id || uint64(p.overflow) >= m.Pages-id || p.kind != kindBranch && p.kind != kindLeaf:
		return hurt("it is no page of the tree")
	}
	p.span = (int64(p.overflow) + 1) * m.PageSize
	elems, why := p.elems(lo, hi)
	if why != "" {
		return hurt(why)
	}
	for i, e := range elems {
		if p.kind == kindLeaf {
			if why := p.inline(e); why != "" {
				return &Hurt{Page: id, Bucket: clip(string(e.key)), Why: why}
			}
			continue
		}
		below := hi
		if i+1 < len(elems) {
			below = elems[i+1].key
		}
		if hurt := f.top(m, e.child, e.key, below, depth+1); hurt != nil {
			return hurt
		}
	}
	return nil
}

// inline says what is wrong with an entry of the root: a bucket, which may stand
// inside it.
func (p *page) inline(e elem) (why string) {
	head := p.bytes(e.valOff, min(e.size, 16))
	switch {
	case e.flags&bucketFlag == 0:
		return "it is no bucket"
	case len(head) < 16:
		return "the bucket has no head"
	case native.Uint64(head) != 0:
		return ""
	}
	in := page{f: p.f, at: p.at + e.valOff + 16, head: p.bytes(e.valOff+16, e.size-16)}
	if in.parse(); in.kind != kindLeaf {
		return "the bucket inside it is no leaf"
	}
	in.span = e.size - 16
	elems, why := in.elems(nil, nil)
	for _, e := range elems {
		if e.flags&bucketFlag != 0 {
			return "there is a bucket in a bucket"
		}
	}
	return why
}
