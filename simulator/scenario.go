package simulator

import (
	"fmt"
	"math"
	"math/rand/v2"

	"lobescribe/device/measure"
)

// Scenario says all about one session at the engine. Its zero value is a
// middling valve, turned smoothly through three openings under an inch
// indicator, without an encoder.
type Scenario struct {
	// Seed sets everything that chance decides. The hand, the indicator, the
	// encoder and each wire have a chance of their own: changing the rate of
	// one does not change what the others do.
	Seed      uint64
	Valve     Valve
	Hand      Hand
	Indicator Indicator
	Encoder   *Encoder    // none
	Sweep     *SweepGauge // none
	// Openings is how many whole openings the hand turns through; 3. One that
	// it starts or stops in the middle of comes on top.
	Openings int
	// Troubles are what goes wrong, by name; nothing.
	Troubles []Trouble
	// NoWire leaves the wires out: there are no bytes and no lines, and no
	// encoder's own readings, which makes a session several times cheaper.
	// Trace and truth are the same, as long as no Baud makes readings wait.
	NoWire bool

	carry *carried // from the session before, on a bench
}

// Session is what a scenario came to.
type Session struct {
	// Trace holds what was sent, as a perfect decoder would give it back:
	// stamped with the moment of the reading, not of its arrival. With an
	// encoder each reading carries the angle counted at that moment (or, where
	// the encoder has a delay, before it). Angles are crank degrees also for an
	// encoder on the cam.
	//
	// After somebody changed the unit, readings stay right only where the line
	// names its unit, and then there is a note; a bare number is taken in the
	// unit of the start.
	Trace measure.Trace
	Truth Truth

	// What arrives on the two wires. There are no bytes on the encoder's where
	// the indicator's line carries both.
	Indicator, Encoder []Chunk
	// The lines among them, to compare a decoder with.
	IndicatorLines, EncoderLines []Line
	// Counts are the readings of the encoder's own wire.
	Counts []measure.Reading

	// The sweep gauge's bytes, lines and readings.
	Sweep      []Chunk
	SweepLines []Line
	Sweeps     []measure.Reading

	slipped struct{ base, drive float64 } // mm and degrees, to hand on to the next
}

// The independent streams of chance.
const (
	streamHand = iota + 1
	streamIndicator
	streamEncoder
	streamWire
	streamEncoderWire
	streamBench
	streamTroubles
	streamTroubleSizes
	streamSweep
	streamSweepWire
)

// Play works the scenario out. It is pure: the same scenario gives the same
// session, byte for byte. The error says what in the scenario cannot be.
func (s Scenario) Play() (*Session, error) {
	p, err := s.turn()
	if err != nil {
		return nil, err
	}
	p.readIndicator(s.chance(streamIndicator), s.chance(streamWire))
	if p.encoder != nil && !p.noWire && !p.indicator.Format.Combined() {
		p.readEncoder(s.chance(streamEncoderWire))
	}
	if p.gauge != nil {
		p.readSweep(s.chance(streamSweep), s.chance(streamSweepWire))
	}
	return p.Session, nil
}

// Foresee works out what will happen in the scenario, without a single reading:
// the truth but for HighestSampled.
func (s Scenario) Foresee() (*Truth, error) {
	p, err := s.turn()
	if err != nil {
		return nil, err
	}
	return &p.Truth, nil
}

// turn makes all ready up to the first reading.
func (s Scenario) turn() (*player, error) {
	wrong, err := s.troubled()
	if err != nil {
		return nil, err
	}
	s.Valve, s.Encoder = wrong.onEngine(s.Valve, s.Encoder)
	n, openings := s.Indicator.withDefaults(), orDefault(s.Openings, 3)
	train, err := s.Valve.train()
	if err != nil {
		return nil, err
	}
	n = wrong.onIndicator(n, train.max)
	if openings < 1 || openings > 100_000 {
		return nil, fmt.Errorf("%d openings: write 1 to 100000", openings)
	}
	for _, err := range []error{s.Hand.check(), n.check(), n.Wire.Mischief.check()} {
		if err != nil {
			return nil, err
		}
	}
	from := s.Hand.start(train)
	if s.carry != nil {
		from = s.carry.crank
	}
	path := s.Hand.turn(train, from, openings, s.chance(streamHand))
	p := &player{
		Session:   &Session{Truth: Truth{train: train, path: path}},
		indicator: n,
		counter:   &counter{sign: 1, per: 1},
		noWire:    s.NoWire,
	}
	if s.Encoder != nil {
		e := s.Encoder.withDefaults()
		for _, err := range []error{e.check(), e.Wire.Mischief.check()} {
			if err != nil {
				return nil, err
			}
		}
		chance := s.chance(streamEncoder)
		p.encoder, p.counter = &e, e.newCounter(path.knots[0].crank, chance.Float64())
		p.encoderChance = chance
		if s.carry != nil {
			p.counter = s.carry.counter
		}
	} else if n.Format.has("{angle}") || n.Format.has("{count}") || n.Format.has("{index}") {
		return nil, fmt.Errorf("line format %q carries an angle: give the scenario an encoder", n.Format.Name)
	}
	if s.Sweep != nil {
		g := s.Sweep.withDefaults()
		if err := g.check(train); err != nil {
			return nil, err
		}
		p.gauge = &g
	}
	t := &p.Truth
	t.counter = p.counter
	t.show = n.newDisplay(t.liftAt)
	t.MaxLift, t.HalfLift = fromMM(train.max), fromMM(train.max/2)
	t.HalfOpeningWidth = fromDeg((train.noseFrom+train.noseTo)/2 - train.halfOpening)
	t.HalfClosingWidth = fromDeg(train.halfClosing - (train.noseFrom+train.noseTo)/2)
	t.End, t.Fastest = fromSec(path.end()), fromDeg(path.fastest())
	t.find()
	late, by, changed := wrong.inTime(n, t, s.slippedBase())
	if changed {
		// What was found stays; what the indicator shows there does not.
		p.slipped.base = by
		p.indicator, t.show = late, late.newDisplay(t.liftAt)
		if wrong.has[ReZeroed] {
			p.slipped.base = t.show.steps[len(t.show.steps)-1].offset - t.show.steps[0].offset
		}
		t.Openings, t.Touches = nil, nil
		t.find()
	}
	p.troubles, p.spindle, p.digits = wrong, wrong.newSpindle(t, n.Resolution), wrong.newDigits(t)
	if s.Encoder != nil {
		if p.drive = wrong.newDrive(t, s.slippedDrive()); p.drive != nil {
			p.slipped.drive = p.drive.slip
		}
	}
	if whole := t.Whole(); len(whole) > 0 {
		t.NoseAngle = whole[0].NoseAngle
	}
	return p, nil
}

// slippedBase and slippedDrive are what the sessions before left.
func (s Scenario) slippedBase() float64 {
	if s.carry == nil {
		return 0
	}
	return s.carry.base
}

func (s Scenario) slippedDrive() float64 {
	if s.carry == nil {
		return 0
	}
	return s.carry.drive
}

func (s Scenario) chance(stream uint64) *rand.Rand { return rand.New(rand.NewPCG(s.Seed, stream)) }

// player fills a session.
type player struct {
	*Session
	indicator     Indicator
	encoder       *Encoder
	encoderChance *rand.Rand
	counter       *counter
	gauge         *SweepGauge // nil without one
	noWire        bool

	troubles *troubles
	spindle  *spindle // nil while it follows the valve at once
	digits   *digits  // nil while they come through
	drive    *drive   // nil while the encoder turns with the crank
}

// readIndicator takes the indicator's readings and sends them.
func (p *player) readIndicator(chance, wireChance *rand.Rand) {
	n := p.indicator
	format, err := n.Format.compile()
	if err != nil {
		panic(err) // it was checked
	}
	end := p.Truth.End.Seconds()
	expect := int(end*n.Rate) + 2
	tr := &p.Trace
	tr.Readings = make([]measure.Reading, 0, expect)
	tr.Resolution = n.Resolution
	has := measure.HasLift
	if p.encoder != nil {
		tr.AngleStep, has = p.encoder.Step(), has|measure.HasAngle
	}
	wire := newSender(n.Wire, format.End, wireChance, 0)
	if !p.noWire {
		wire = newSender(n.Wire, format.End, wireChance, expect)
	}
	ticks := newClock(n.Rate, n.Jitter, chance)
	hand, angles := cursor{p: p.Truth.path}, cursor{p: p.Truth.path}
	unit, resolution := n.Unit, n.Resolution
	switches, turns := 0, indexes{counter: p.counter}
	opening, shaft := 0, p.drive.copied()
	stands, lift := math.NaN(), 0.0 // a crank that stands is looked up once
	var line []byte
	for {
		t := ticks.next()
		if t > end {
			break
		}
		stamp := fromSec(t)
		noise := 0.0
		if n.Noise > 0 { // drawn also where nothing is sent
			noise = chance.NormFloat64() * n.Noise.Millimetres()
		}
		for switches < len(n.Switches) && n.Switches[switches] <= stamp {
			unit, resolution = otherUnit(unit, resolution)
			switches++
			if n.Format.SaysUnit() {
				tr.Notes = append(tr.Notes, measure.Note{At: stamp, Kind: measure.NoteUnitChange})
			}
		}
		if lost(n.Lost, stamp) || !wire.free(t) {
			continue
		}
		seen := t - n.Delay.Seconds()
		if crank := hand.at(seen); crank != stands {
			stands, lift = crank, p.Truth.train.lift(crank)
		}
		r := measure.Reading{At: stamp, Has: has}
		mm := 0.0
		if p.spindle != nil {
			mm = p.spindle.at(seen)
		} else {
			mm = p.Truth.show.at(seen, lift)
		}
		shown := measure.Length(roundToCount(mm+noise, resolution)) * resolution
		if p.digits != nil {
			shown = p.digits.pass(t, shown, unit, resolution)
		}
		r.Lift = shown
		if unit != n.Unit && !n.Format.SaysUnit() {
			r.Lift = misread(shown, unit, n.Unit)
		}
		words := said{lift: shown, resolution: resolution, unit: unit}
		if p.encoder != nil {
			count := p.counter.count(shaft.turns(t, angles.at(t-p.encoder.Delay.Seconds())))
			r.Angle = fromDeg(p.counter.angle(count))
			words.count, words.angle = p.counter.sent(count), r.Angle
			words.index = p.encoder.Index && turns.passed(count)
		}
		if !p.noWire {
			line = format.appendLine(line[:0], words)
			wire.send(t, line, len(tr.Readings))
		}
		tr.Readings = append(tr.Readings, r)
		opening = p.highestSampled(opening, fromSec(seen), fromMM(lift))
	}
	for _, l := range n.Lost {
		tr.Notes = append(tr.Notes, measure.Note{At: l.At, Until: l.At + l.For, Kind: measure.NoteGap})
	}
	sortNotes(tr.Notes)
	p.Indicator, p.IndicatorLines = wire.chunks(), wire.lines
}

// highestSampled notes a lift sampled at a time for the opening it lies in,
// from the i-th on, and returns where to look next.
func (p *player) highestSampled(i int, at measure.Stamp, lift measure.Length) int {
	o := p.Truth.Openings
	for i < len(o) && o[i].Close < at {
		i++
	}
	if i < len(o) && o[i].Open <= at {
		o[i].HighestSampled = max(o[i].HighestSampled, lift)
	}
	return i
}

// readEncoder takes the readings of the encoder's own wire and sends them.
func (p *player) readEncoder(wireChance *rand.Rand) {
	e := p.encoder
	format, err := e.Format.compile()
	if err != nil {
		panic(err) // it was checked
	}
	end := p.Truth.End.Seconds()
	expect := int(end*e.Rate) + 2
	p.Counts = make([]measure.Reading, 0, expect)
	wire := newSender(e.Wire, format.End, wireChance, expect)
	ticks := newClock(e.Rate, 0, p.encoderChance)
	hand, turns, shaft := cursor{p: p.Truth.path}, indexes{counter: p.counter}, p.drive.copied()
	var line []byte
	for t := ticks.next(); t <= end; t = ticks.next() {
		stamp := fromSec(t)
		if lost(e.Lost, stamp) || !wire.free(t) {
			continue
		}
		count := p.counter.count(shaft.turns(t, hand.at(t-e.Delay.Seconds())))
		angle := fromDeg(p.counter.angle(count))
		line = format.appendLine(line[:0], said{angle: angle, count: p.counter.sent(count), index: e.Index && turns.passed(count)})
		wire.send(t, line, len(p.Counts))
		p.Counts = append(p.Counts, measure.Reading{At: stamp, Angle: angle, Has: measure.HasAngle})
	}
	p.Encoder, p.EncoderLines = wire.chunks(), wire.lines
}
