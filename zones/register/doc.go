// Package register knows the probes of a room by their whole life: what answered where,
// with which serial number, to which zone it was given, what it was exchanged for. It
// says what does not fit: another serial number at a known place, a known probe at
// another place, two probes with one address, one serial number at two places.
//
//	the room's view --Fit---> lives: id, place, zone, label, offset --> changed lives, to be kept
//	readings -------Heard---> serials by place, places by serial, jumps --> Findings
//	an exchange ----Weigh, Exchanged
//
// It is pure: time is what it is told. It decides nothing about water.
package register

import (
	"time"

	"rillgate/zones"
)

// EventKind says what happened to a probe.
type EventKind string

// The kinds of event.
const (
	Met      EventKind = "met"      // heard for the first time; To: what it read
	Serial   EventKind = "serial"   // its serial number became known
	Placed   EventKind = "place"    // the files name it at another place
	Given    EventKind = "zone"     // given to another zone
	Labelled EventKind = "label"    // labelled otherwise
	Offset   EventKind = "offset"   // another offset is added
	Renamed  EventKind = "id"       // the same place bears another id
	Exchange EventKind = "exchange" // another probe took over; From, To: serial and place
	Listed   EventKind = "files"    // the files name it from now on, or no more
	Left     EventKind = "left"     // neither files nor orders name it, and nothing answers
	Back     EventKind = "back"     // it is named again
)

// Event is one change in the life of a probe.
type Event struct {
	At   time.Time `json:"at"`
	Kind EventKind `json:"kind"`
	From string    `json:"from,omitempty"`
	To   string    `json:"to,omitempty"`
	By   string    `json:"by,omitempty"`
	Note string    `json:"note,omitempty"`
}

// Life is one probe of the register, from its first reading or its first line in the
// files on. An exchange goes on in the same life.
type Life struct {
	Key     string      `json:"key"` // never changes, and never comes again
	ID      string      `json:"id"`
	Place   zones.Place `json:"place"`
	Serial  string      `json:"serial,omitempty"` // of the device that stands for it
	Zone    string      `json:"zone,omitempty"`
	Label   string      `json:"label,omitempty"`
	Offset  float64     `json:"offset,omitempty"` // points, as it is added
	InFiles bool        `json:"in_files,omitempty"`
	Heard   bool        `json:"heard,omitempty"` // the device that stands for it was heard
	Gone    bool        `json:"gone,omitempty"`
	Events  []Event     `json:"events"`
	// Into is the key of the life that this one was found to be the beginning of: it has
	// its events now, and this one is kept for a mark. "" = it stands by itself.
	Into string `json:"into,omitempty"`
}

// Bounds of the register.
const (
	livesMost  = 1024
	eventsMost = 200
)

// Finding is something that does not fit.
type Finding struct {
	Code    zones.Reason
	Probe   string // its id
	Because string // with what to do
}
