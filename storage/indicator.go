package storage

import (
	"errors"

	"lobescribe/capture/prove"
)

const kindIndicator = "indicator"

// Indicator is what is known of one indicator, from session to session.
type Indicator struct {
	// ID is the device's identity, as address.Address.Identity has it.
	ID    string      `json:"id"`
	Proof prove.Proof `json:"proof"`
}

// Indicator returns what is known of an indicator; the zero Proof when nothing
// is.
func (s *Store) Indicator(id string) (Indicator, error) {
	i := Indicator{ID: id}
	err := s.view(func(r rows) error {
		_, err := readDoc(r, kindIndicator, id, &i)
		return err
	})
	if errors.Is(err, ErrNotFound) {
		return Indicator{ID: id}, nil
	}
	return i, err
}

// PutIndicator stores what is known of an indicator in place of what was known
// before: the newest proof counts, whoever made it.
func (s *Store) PutIndicator(i Indicator) error {
	for {
		var rev Rev
		err := s.view(func(r rows) (err error) {
			rev, err = readDoc(r, kindIndicator, i.ID, new(Indicator))
			return err
		})
		if err != nil && !errors.Is(err, ErrNotFound) && len(DamagesIn(err)) == 0 {
			return err
		}
		_, err = s.putDoc(kindIndicator, i.ID, rev, i)
		if !errors.Is(err, ErrStale) && !errors.Is(err, ErrExists) {
			return err
		}
	}
}

// Indicators returns all that are known, by ID.
func (s *Store) Indicators() ([]Indicator, error) {
	return eachDoc(s, kindIndicator, func(*Indicator, Rev) {})
}
