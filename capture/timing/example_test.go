package timing_test

import (
	"fmt"
	"strings"

	"lobescribe/capture/timing"
	"lobescribe/capture/worksheet"
)

func Example() {
	var request timing.Request
	err := worksheet.Read(strings.NewReader(`{
		"tdc": {"positive_stop": {"first_deg": [33], "second_deg": [329], "angle_step_deg": 0.15}},
		"intake": {"opens": "12 BTDC", "closes": "44 ABDC"},
		"exhaust": {"opens": 50, "closes": 6},
		"card": {"intake": {"opens": 14, "closes": 42}, "exhaust": {"opens": 52, "closes": 4}}
	}`), &request)
	if err != nil {
		fmt.Println(err)
		return
	}
	result, err := timing.Compute(request)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(result.TDC.Says)
	in := result.Intake.Passages[0]
	fmt.Println("intake", in.Opens.Says, "/", in.Closes.Says, "duration", in.Span.Duration, "centreline", in.Span.Says)
	fmt.Println("overlap", result.Pairs[0].Overlap, "separation", result.Pairs[0].Separation, "of the cam")
	fmt.Println(result.Card.Says[0])
	// Output:
	// the encoder shows 1.00 ± 0.41 degrees at top dead centre
	// intake 12 BTDC / 44 ABDC duration 236 deg centreline 106 ATDC
	// overlap 18 deg separation 109 deg of the cam
	// the cam is retarded by 2 ± 0.6 crank degrees (1 cam degrees)
}
