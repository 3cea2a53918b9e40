package kill

// A room with two dry beds that take turns on one supply. A shot is longer than the
// lease, so that it lives on renewals; the limits leave water for a long campaign.
const roomText = `room: {id: ROOM, name: Bay, time_zone: UTC, units: metric}
controllers:
  - id: north
    terminals:
      - number: 1
        layout: chain
        home_run: 18 m
        cable: 22 AWG
        probes:
          - {id: e1, address: "0", zone: east, lead: 0 m, tail: 5 m}
          - {id: e2, address: "1", zone: east, lead: 3 m, tail: 5 m}
          - {id: w1, address: "2", zone: west, lead: 3 m, tail: 5 m}
          - {id: w2, address: "3", zone: west, lead: 3 m, tail: 5 m}
supplies:
  - {id: tank, max_open: 1}
valves:
  - {id: east, controller: north, output: 1, supply: tank}
  - {id: west, controller: north, output: 2, supply: tank}
defaults:
  substrate: {kind: coir, volume_per_plant: 6.5 L, height: 20 cm}
  emitters: {per_plant: 2, flow: 2 L/h}
  moisture: {combine: median, quorum: 2, stale_after: 10 s, plausible: 2 % to 95 %}
  limits: {max_run: 6 min, min_rest: 10 s, max_per_day: 12 h, max_moisture: 70 %}
zones:
  - {id: east, name: East bench, plants: 48, valves: [east]}
  - {id: west, name: West bench, plants: 48, valves: [west]}
`

const scheduleText = `day: {lights_on: "06:00", lights_off: "18:00"}
routines:
  all: [{window: first, from: "00:00", until: "12:00", below: 45 %, stop_at: 46 %, shot: 14 s, rest: 10 s},
        {window: second, from: "12:00", until: "00:00", below: 45 %, stop_at: 46 %, shot: 14 s, rest: 10 s}]
zones: {east: {routine: all}, west: {routine: all}}
`

const gatewayText = `mqtt: {broker: "BROKER"}
lease: 10 s
`
