package power

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"rillgate/configs"
	"rillgate/zones"
)

// began is when the room's time begins.
var began = time.Date(2027, time.March, 1, 6, 0, 0, 0, time.UTC)

// roomID is the id of the room under test.
const roomID = "bay"

// lease is that of gateway.yaml, and bootHold what the interlock `starting` makes of it.
const (
	lease    = 10 * time.Second
	bootHold = 5*time.Second + lease
)

// The room: two beds on one pump, one by the clock and one by its probes, with shots as
// short and close to each other as the files allow, so that the ledger is written all
// the time.
const roomText = `room: {id: bay, name: Bay, time_zone: UTC, units: metric}
controllers:
  - id: north
    terminals:
      - number: 1
        layout: chain
        home_run: 10 m
        cable: 18 AWG
        probes:
          - {id: a1, address: "0", zone: a, lead: 1 m, tail: 5 m}
          - {id: a2, address: "1", zone: a, lead: 1 m, tail: 5 m}
          - {id: b1, address: "2", zone: b, lead: 1 m, tail: 5 m}
          - {id: b2, address: "3", zone: b, lead: 1 m, tail: 5 m}
supplies:
  - {id: feed, max_open: 1}
valves:
  - {id: va, controller: north, output: 1}
  - {id: vb, controller: north, output: 2}
defaults:
  substrate: {kind: coir, volume_per_plant: 6.5 L, height: 20 cm}
  emitters: {per_plant: 2, flow: 2 L/h}
  moisture: {combine: median, quorum: 2, stale_after: 3 min, plausible: 2 % to 95 %}
  limits: {max_run: 6 min, min_rest: 10 s, max_per_day: 12 h, max_moisture: 90 %}
zones:
  - {id: a, name: Bed A, plants: 48, valves: [va]}
  - {id: b, name: Bed B, plants: 48, valves: [vb]}
`

const scheduleText = `day: {lights_on: "06:00", lights_off: "18:00"}
routines:
  clocked: [{window: early, from: "00:00", until: "12:00", shot: 12 s, rest: 60 s, max_shots: 1000},
            {window: late, from: "12:00", until: "00:00", shot: 12 s, rest: 60 s, max_shots: 1000}]
  felt: [{window: early, from: "00:00", until: "12:00", below: 80 %, shot: 15 s, rest: 40 s, max_shots: 1000},
         {window: late, from: "12:00", until: "00:00", below: 80 %, shot: 15 s, rest: 40 s, max_shots: 1000}]
zones:
  a: {routine: clocked}
  b: {routine: felt}
`

// outputs of the room, by zone.
var outputs = map[string]zones.Output{"a": {Controller: "north", Number: 1}, "b": {Controller: "north", Number: 2}}

// writeConfig puts the three files into a directory.
func writeConfig(dir, broker string) error {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return fmt.Errorf("create configuration: %w", err)
	}
	for name, text := range map[string]string{configs.RoomFile: roomText, configs.ScheduleFile: scheduleText,
		configs.GatewayFile: "mqtt: {broker: \"" + broker + "\"}\nlease: 10 s\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o640); err != nil {
			return fmt.Errorf("write configuration: %w", err)
		}
	}
	return nil
}
