package workshop

// table is a published lift of a valve or lifter. Angles and lift are in its own
// units; only the shape is used.
type table struct {
	name        string
	angle, lift []float64
}

// side returns one flank, from foot to nose, both along 0 to 1.
func (t table) side(closing bool) (x, y []float64) {
	top := 0
	for i, l := range t.lift {
		if l > t.lift[top] {
			top = i
		}
	}
	add := func(i int, foot float64) {
		x = append(x, (t.angle[i]-foot)/(t.angle[top]-foot))
		y = append(y, t.lift[i]/t.lift[top])
	}
	if !closing {
		for i := 0; i <= top; i++ {
			add(i, t.angle[0])
		}
		return x, y
	}
	for i := len(t.lift) - 1; i >= top; i-- {
		add(i, t.angle[len(t.angle)-1])
	}
	return x, y
}

var tables = []table{cfrIntake}

// cfrIntake is the intake valve of the ASTM octane-rating (CFR) engine: crank
// degrees and mm, every eighth degree and the top, of SAE 2018-01-0848, Fig. 3
// (accepted manuscript OSTI 1501884), as digitised in public.
var cfrIntake = table{
	name: "CFR intake",
	angle: []float64{-352, -344, -336, -328, -320, -312, -304, -296, -288, -280, -272, -264, -256, -246,
		-240, -232, -224, -216, -208, -200, -192, -184, -176, -168, -160, -152, -144, -136, -128, -120},
	lift: []float64{0.0705, 0.2099, 0.6950, 1.5196, 2.3784, 3.1263, 3.8082, 4.4130, 4.9065, 5.3006, 5.6251, 5.8148, 5.9326, 6.0022,
		5.9714, 5.8171, 5.5670, 5.2078, 4.7521, 4.2026, 3.6146, 2.9289, 2.1405, 1.2494, 0.5332, 0.1777, 0.0785, 0.0338, 0.0122, 0.0027},
}
