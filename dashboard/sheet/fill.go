package sheet

import (
	"bufio"
	"fmt"
	"html"
	"io"
	"reflect"
	"text/template/parse"
)

// markup is text that goes out as it stands: made here, of numbers and fixed words.
// Everything else that a template prints is escaped.
type markup string

// fill writes a template, filled from data. It is the part of html/template that a
// sheet needs: fields, variables, if, with, range, eq, ne, and, or, not. What it
// prints may stand in an element's text or between an attribute's double quotes,
// nowhere else; a test holds the sheet to that, and its bytes against html/template's.
//
// The library itself is not linked in: it finds methods by names that are known only
// when it runs, so the linker would keep every exported method of every type in the
// program, a seventh of all its bytes.
func fill(w io.Writer, text string, data any) error {
	trees, err := parse.Parse("sheet", text, "", "", map[string]any{"eq": true, "ne": true, "and": true, "or": true, "not": true})
	if err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	f := filler{out: out}
	if err := f.node(trees["sheet"].Root, reflect.ValueOf(data)); err != nil {
		return err
	}
	return out.Flush()
}

type filler struct {
	out  *bufio.Writer // keeps the first error and gives it back from Flush
	vars []variable
}

type variable struct {
	name  string
	value reflect.Value
}

func (f *filler) node(n parse.Node, dot reflect.Value) error {
	switch n := n.(type) {
	case *parse.ListNode:
		if n == nil { // there is no else
			return nil
		}
		for _, one := range n.Nodes {
			if err := f.node(one, dot); err != nil {
				return err
			}
		}
		return nil
	case *parse.TextNode:
		_, _ = f.out.Write(n.Text)
		return nil
	case *parse.CommentNode:
		return nil
	case *parse.ActionNode:
		v, err := f.pipe(n.Pipe, dot)
		if err != nil {
			return err
		}
		return f.print(n, v)
	case *parse.IfNode:
		return f.branch(&n.BranchNode, dot)
	case *parse.WithNode:
		return f.branch(&n.BranchNode, dot)
	case *parse.RangeNode:
		return f.each(n, dot)
	}
	return fmt.Errorf("%s is not understood", n)
}

func (f *filler) branch(n *parse.BranchNode, dot reflect.Value) error {
	v, err := f.pipe(n.Pipe, dot)
	if err != nil {
		return err
	}
	if !truth(v) {
		return f.node(n.ElseList, dot)
	}
	if n.NodeType == parse.NodeWith {
		dot = v
	}
	return f.node(n.List, dot)
}

func (f *filler) each(n *parse.RangeNode, dot reflect.Value) error {
	v, err := f.pipe(n.Pipe, dot)
	if err != nil {
		return err
	}
	if v.Kind() != reflect.Slice {
		return fmt.Errorf("%s: %s is no list", n.Pipe, v.Type())
	}
	if v.Len() == 0 {
		return f.node(n.ElseList, dot)
	}
	had := len(f.vars)
	defer func() { f.vars = f.vars[:had] }()
	for i := range v.Len() {
		f.vars = f.vars[:had]
		if d := n.Pipe.Decl; len(d) == 2 {
			f.vars = append(f.vars, variable{d[0].Ident[0], reflect.ValueOf(i)}, variable{d[1].Ident[0], v.Index(i)})
		}
		if err := f.node(n.List, v.Index(i)); err != nil {
			return err
		}
	}
	return nil
}

func (f *filler) pipe(p *parse.PipeNode, dot reflect.Value) (reflect.Value, error) {
	if len(p.Cmds) != 1 {
		return reflect.Value{}, fmt.Errorf("%s: one value at a time", p)
	}
	args := p.Cmds[0].Args
	if name, ok := args[0].(*parse.IdentifierNode); ok {
		return f.call(name.Ident, args[1:], dot)
	}
	if len(args) != 1 {
		return reflect.Value{}, fmt.Errorf("%s: a field takes nothing", p)
	}
	return f.value(args[0], dot)
}

func (f *filler) value(n parse.Node, dot reflect.Value) (reflect.Value, error) {
	switch n := n.(type) {
	case *parse.DotNode:
		return dot, nil
	case *parse.StringNode:
		return reflect.ValueOf(n.Text), nil
	case *parse.FieldNode:
		return fields(dot, n.Ident)
	case *parse.VariableNode:
		for i := len(f.vars) - 1; i >= 0; i-- {
			if f.vars[i].name == n.Ident[0] {
				return fields(f.vars[i].value, n.Ident[1:])
			}
		}
	case *parse.PipeNode:
		return f.pipe(n, dot)
	}
	return reflect.Value{}, fmt.Errorf("%s is not understood", n)
}

// fields follows names from one struct to the next.
func fields(v reflect.Value, names []string) (reflect.Value, error) {
	for _, name := range names {
		for v.Kind() == reflect.Pointer && !v.IsNil() {
			v = v.Elem()
		}
		if v.Kind() != reflect.Struct {
			return v, fmt.Errorf("%s of %s, which is no struct", name, v.Type())
		}
		of := v.Type()
		if v = v.FieldByName(name); !v.IsValid() {
			return v, fmt.Errorf("%s has no field %s", of, name)
		}
	}
	return v, nil
}

func (f *filler) call(name string, args []parse.Node, dot reflect.Value) (v reflect.Value, err error) {
	for i, n := range args {
		before := v
		if v, err = f.value(n, dot); err != nil {
			return v, err
		}
		switch {
		case name == "not":
			return reflect.ValueOf(!truth(v)), nil
		case name == "and" && !truth(v), name == "or" && truth(v):
			return v, nil
		case name == "eq" && i == 1:
			return reflect.ValueOf(before.Equal(v)), nil
		case name == "ne" && i == 1:
			return reflect.ValueOf(!before.Equal(v)), nil
		}
	}
	if (name == "and" || name == "or") && len(args) > 0 {
		return v, nil
	}
	return v, fmt.Errorf("%s of %d values", name, len(args))
}

// truth is a template's: what is empty is false.
func truth(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Slice, reflect.String:
		return v.Len() > 0
	case reflect.Struct:
		return true
	}
	return !v.IsZero()
}

func (f *filler) print(n parse.Node, v reflect.Value) error {
	switch v.Kind() {
	case reflect.String:
		text := v.String()
		if v.Type() != reflect.TypeFor[markup]() {
			text = html.EscapeString(text)
		}
		_, _ = f.out.WriteString(text)
	case reflect.Int:
		_, _ = fmt.Fprint(f.out, v.Int())
	default:
		return fmt.Errorf("%s: %s cannot be printed", n, v.Type())
	}
	return nil
}
