package worksheet

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

func TestSentence(t *testing.T) {
	limit := 80 * measure.Thou
	s := Sayf("%s: limit of %v, %d of %.1f", "coils", limit, 2, 1.5)
	assert.Equal(t, "coils: limit of 2.032 mm, 2 of 1.5", s.String())
	assert.Equal(t, "coils: limit of 0.0800 in, 2 of 1.5", s.In(measure.InInches))
	assert.Equal(t, "coils: limit of 80.0 thou, 2 of 1.5", s.In(measure.InThou))
	outer := Sayf("%v; %s", s, Join([]Sentence{Sayf("a %v", limit), Sayf("100 %%")}, ", "))
	assert.Equal(t, "coils: limit of 0.0800 in, 2 of 1.5; a 0.0800 in, 100 %", outer.In(measure.InInches))
	assert.Equal(t, []string{"a 2.032 mm"}, In([]Sentence{Sayf("a %v", limit)}, measure.InMillimetres))

	b, err := json.Marshal(s)
	require.NoError(t, err)
	assert.Equal(t, `"coils: limit of 2.032 mm, 2 of 1.5"`, string(b))
	var back Sentence
	require.NoError(t, json.Unmarshal([]byte(`"100 % of 2 mm"`), &back))
	assert.Equal(t, "100 % of 2 mm", back.In(measure.InInches), "text is text")
}

func TestInUnit(t *testing.T) {
	type gap struct {
		Left measure.Length
		Says Sentence
	}
	type answer struct {
		Gap  *gap
		None *gap
		All  []Sentence
		Deep [][]gap
		Basis
	}
	one := Sayf("%v", 25_400*measure.Micrometre)
	a := answer{Gap: &gap{Says: one}, All: []Sentence{one}, Deep: [][]gap{{{Says: one}}}}
	a.Assume("%v", 25_400*measure.Micrometre)
	a.Assume("%v", 25_400*measure.Micrometre)
	require.Len(t, a.Assumes, 1, "once")
	b, err := json.Marshal(InUnit(a, measure.InInches))
	require.NoError(t, err)
	assert.JSONEq(t, `{"Gap":{"Left":0,"Says":"1.0000 in"},"None":null,"All":["1.0000 in"],"Deep":[[{"Left":0,"Says":"1.0000 in"}]],"assumes":["1.0000 in"],"sources":null}`, string(b))
	assert.Nil(t, InUnit(nil, measure.InInches))
}
