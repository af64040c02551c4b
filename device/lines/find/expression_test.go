package find_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
)

// The lines of testdata/lines are written with expressions in {{ }}, in the
// small part of Python that is read here: numbers, texts, lists, arithmetic,
// comparison, "a if c else b", "%" with a format, and a few functions.

// scene is what an expression may name: what the engine and the clock show.
type scene map[string]any

// fill puts the values of a scene into a line.
func (s scene) fill(line string) (string, error) {
	var b strings.Builder
	for {
		text, rest, found := strings.Cut(line, "{{")
		b.WriteString(text)
		if !found {
			return b.String(), nil
		}
		inside, after, closed := strings.Cut(rest, "}}")
		if !closed {
			return "", fmt.Errorf("%q: {{ without }}", line)
		}
		v, err := s.value(inside)
		if err != nil {
			return "", fmt.Errorf("%q: %w", inside, err)
		}
		b.WriteString(fmt.Sprint(v))
		line = after
	}
}

// value works out an expression.
func (s scene) value(text string) (v any, err error) {
	p := &expression{scene: s, tokens: cutExpression(text)}
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%v", r)
		}
	}()
	v = p.choice()
	if p.at < len(p.tokens) {
		return nil, fmt.Errorf("%q is left over", p.tokens[p.at:])
	}
	return v, nil
}

func cutExpression(text string) (tokens []string) {
	for i := 0; i < len(text); {
		from := i
		c := text[i]
		word := func(c byte) bool {
			return c == '_' || c == '.' || c >= '0' && c <= '9' || c|0x20 >= 'a' && c|0x20 <= 'z'
		}
		switch {
		case c == ' ':
			i++
			continue
		case c == '\'':
			for i++; text[i] != '\''; i++ {
			}
			i++
		case word(c):
			for i < len(text) && word(text[i]) {
				i++
			}
		case strings.Contains("<= >= == != >> << //", text[i:min(i+2, len(text))]) && i+2 <= len(text):
			i += 2
		default:
			i++
		}
		tokens = append(tokens, text[from:i])
	}
	return tokens
}

// expression is a recursive descent over the tokens; it panics at what it does
// not know, and value makes an error of that.
type expression struct {
	scene  scene
	tokens []string
	at     int
}

func (p *expression) peek() string {
	if p.at < len(p.tokens) {
		return p.tokens[p.at]
	}
	return ""
}

func (p *expression) take(any ...string) (string, bool) {
	if t := p.peek(); t != "" && slices.Contains(any, t) {
		p.at++
		return t, true
	}
	return "", false
}

func (p *expression) need(t string) {
	if _, ok := p.take(t); !ok {
		panic(fmt.Sprintf("%q expected at %q", t, p.peek()))
	}
}

func (p *expression) choice() any {
	v := p.either()
	if _, ok := p.take("if"); !ok {
		return v
	}
	c := truth(p.either())
	p.need("else")
	if other := p.choice(); !c {
		return other
	}
	return v
}

func (p *expression) either() any {
	v := p.compared()
	for {
		op, ok := p.take("and", "or")
		if !ok {
			return v
		}
		w := p.compared()
		if op == "and" == truth(v) {
			v = w
		}
	}
}

func (p *expression) compared() any {
	v := p.binary(0)
	all, any := true, false
	for {
		op, ok := p.take("<", ">", "<=", ">=", "==", "!=")
		if !ok {
			if any {
				return all
			}
			return v
		}
		w := p.binary(0)
		all, any = all && holds(op, v, w), true
		v = w // as in 2<mm<8
	}
}

func holds(op string, v, w any) bool {
	a, b := float(v), float(w)
	switch op {
	case "<":
		return a < b
	case ">":
		return a > b
	case "<=":
		return a <= b
	case ">=":
		return a >= b
	case "==":
		return a == b
	}
	return a != b
}

// binding are the operators, the weakest first.
var binding = [][]string{{"&"}, {">>", "<<"}, {"+", "-"}, {"*", "/", "//", "%"}}

func (p *expression) binary(level int) any {
	if level == len(binding) {
		return p.unary()
	}
	v := p.binary(level + 1)
	for {
		op, ok := p.take(binding[level]...)
		if !ok {
			return v
		}
		v = operate(op, v, p.binary(level+1))
	}
}

func operate(op string, v, w any) any {
	if format, is := v.(string); is {
		switch op {
		case "+":
			return format + w.(string)
		case "%":
			return formatted(format, w)
		}
	}
	a, whole1 := v.(int)
	b, whole2 := w.(int)
	if !whole1 || !whole2 {
		x, y := float(v), float(w)
		switch op {
		case "+":
			return x + y
		case "-":
			return x - y
		case "*":
			return x * y
		case "/":
			return x / y
		case "//":
			return math.Floor(x / y)
		case "%":
			return x - y*math.Floor(x/y)
		}
		panic("operator " + op)
	}
	switch op {
	case "+":
		return a + b
	case "-":
		return a - b
	case "*":
		return a * b
	case "/":
		return float64(a) / float64(b)
	case "//":
		return int(math.Floor(float64(a) / float64(b)))
	case "%":
		return ((a % b) + b) % b
	case "&":
		return a & b
	case ">>":
		return a >> b
	case "<<":
		return a << b
	}
	panic("operator " + op)
}

// formatted is Python's "%" with a text before it.
func formatted(format string, v any) string {
	all, ok := v.([]any)
	if !ok {
		all = []any{v}
	}
	var args []any
	for _, verb := range strings.Split(strings.ReplaceAll(format, "%%", ""), "%")[1:] {
		i := strings.IndexAny(verb, "dxXfeEgs")
		switch a := all[len(args)]; verb[i] {
		case 'd', 'x', 'X':
			args = append(args, int(float(a)))
		case 's':
			args = append(args, fmt.Sprint(a))
		default:
			args = append(args, float(a))
		}
	}
	return fmt.Sprintf(format, args...)
}

func (p *expression) unary() any {
	if _, ok := p.take("-"); ok {
		switch v := p.unary().(type) {
		case int:
			return -v
		case float64:
			return -v
		}
		panic("a minus before no number")
	}
	t := p.peek()
	p.at++
	switch {
	case t == "":
		panic("the end is missing something")
	case t == "(":
		v := p.list(")")
		if len(v) == 1 {
			return v[0]
		}
		return v
	case t == "[":
		return p.list("]")
	case t[0] == '\'':
		return t[1 : len(t)-1]
	case t[0] >= '0' && t[0] <= '9' || t[0] == '.':
		if n, err := strconv.ParseInt(t, 0, 64); err == nil {
			return int(n)
		}
		f, err := strconv.ParseFloat(t, 64)
		if err != nil {
			panic(err)
		}
		return f
	}
	if _, ok := p.take("("); ok {
		return p.call(t, p.list(")"))
	}
	v, ok := p.scene[t]
	if !ok {
		panic("nothing is called " + t)
	}
	return v
}

func (p *expression) list(end string) (all []any) {
	for {
		if _, ok := p.take(end); ok {
			return all
		}
		all = append(all, p.choice())
		p.take(",")
	}
}

func (p *expression) call(name string, a []any) any {
	rng, _ := p.scene["rng"].(*rand.Rand)
	switch name {
	case "int":
		return int(float(a[0]))
	case "float":
		return float(a[0])
	case "abs":
		if n, ok := a[0].(int); ok {
			return max(n, -n)
		}
		return math.Abs(float(a[0]))
	case "round":
		if len(a) == 1 {
			return int(math.RoundToEven(float(a[0])))
		}
		f, _ := strconv.ParseFloat(strconv.FormatFloat(float(a[0]), 'f', a[1].(int), 64), 64)
		return f
	case "sgn":
		if float(a[0]) < 0 {
			return "-"
		}
		return "+"
	case "max":
		return max(float(a[0]), float(a[1]))
	case "min":
		return min(float(a[0]), float(a[1]))
	case "chr":
		return string(rune(a[0].(int)))
	case "swap": // a text, with a letter for another
		return strings.ReplaceAll(a[0].(string), a[1].(string), a[2].(string))
	case "xor", "sum8": // of the bytes of a text, as the checksum at its end
		sum := byte(0)
		for _, c := range []byte(a[0].(string)) {
			if name == "xor" {
				sum ^= c
			} else {
				sum += c
			}
		}
		return int(sum)
	case "math.sin":
		return math.Sin(float(a[0]))
	case "math.cos":
		return math.Cos(float(a[0]))
	case "rng.choice":
		of := a[0].([]any)
		return of[rng.IntN(len(of))]
	case "rng.randrange":
		return a[0].(int) + rng.IntN(a[1].(int)-a[0].(int))
	case "rng.uniform":
		return float(a[0]) + rng.Float64()*(float(a[1])-float(a[0]))
	}
	panic("no function is called " + name)
}

func float(v any) float64 {
	switch v := v.(type) {
	case int:
		return float64(v)
	case float64:
		return v
	case bool:
		if v {
			return 1
		}
		return 0
	}
	panic(fmt.Sprintf("%v is no number", v))
}

func truth(v any) bool {
	if b, ok := v.(bool); ok {
		return b
	}
	return float(v) != 0
}
