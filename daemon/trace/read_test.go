package trace

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

func readAll(t *testing.T, text string) ([]Line, error) {
	t.Helper()
	r := NewReader(strings.NewReader(text))
	var lines []Line
	for {
		l, err := r.Next()
		if errors.Is(err, io.EOF) {
			return lines, nil
		}
		if err != nil {
			return lines, err
		}
		lines = append(lines, l)
	}
}

const at = `{"at":"2027-03-01T06:00:00Z",`

func TestReadEachKind(t *testing.T) {
	yes := true
	cases := []struct {
		text string
		want Line
	}{
		{`"controller":{"id":"north","online":false}}`, Line{Controller: &Controller{ID: "north"}}},
		{`"input":{"id":"tank-low","active":true}}`, Line{Input: &Input{ID: "tank-low", Active: true}}},
		{`"broker":{"up":false}}`, Line{Broker: &Broker{}}},
		{`"clock":{"trusted":true,"step":"-1h"}}`, Line{Clock: &Clock{Trusted: &yes, Step: -time.Hour}}},
		{`"restart":{}}`, Line{Restart: true}},
		{`"report":{"valve":"east","open":true}}`, Line{Report: &Report{Valve: "east", Open: true, FlowLPM: -1}}},
		{`"report":{"valve":"east","open":false,"flow_lpm":2.5}}`, Line{Report: &Report{Valve: "east", FlowLPM: 2.5}}},
		{`"order":{"kind":"hold","zone":"east","for":"30m"}}`, Line{Order: &zones.Order{Kind: "hold", Zone: "east", For: 30 * time.Minute, Source: "trace"}}},
		{`"order":{"kind":"shot","zone":"east","volume":"120mL"}}`, Line{Order: &zones.Order{Kind: "shot", Zone: "east", VolumeML: 120, Source: "trace"}}},
		{`"order":{"kind":"shot","zone":"east","volume":"0.5 L"}}`, Line{Order: &zones.Order{Kind: "shot", Zone: "east", VolumeML: 500, Source: "trace"}}},
		{`"order":{"kind":"reset","zone":"east"}}`, Line{Order: &zones.Order{Kind: "reset", Zone: "east", Subject: "east", Source: "trace"}}},
		{`"order":{"kind":"soak","zone":"east"}}`, Line{Order: &zones.Order{Kind: "soak", Zone: "east", Source: "trace"}}},
		{`"order":{"kind":"walk"}}`, Line{Order: &zones.Order{Kind: "walk", Source: "trace"}}},
		{`"order":{"kind":"reset"}}`, Line{Order: &zones.Order{Kind: "reset", Subject: "room", Source: "trace"}}},
		{`"order":{"kind":"ignore","probe":"e1","for":"48h"}}`, Line{Order: &zones.Order{Kind: "ignore", Subject: "e1", For: 48 * time.Hour, Source: "trace"}}},
		{`"order":{"kind":"clock trust","note":"caf\u00e9"}}`, Line{Order: &zones.Order{Kind: "clock trust", Note: "café", Source: "trace"}}},
	}
	for _, c := range cases {
		lines, err := readAll(t, "\n"+at+c.text+"\r\n")
		require.NoError(t, err, c.text)
		require.Len(t, lines, 1)
		c.want.Number, c.want.At = 2, start
		require.Equal(t, c.want, lines[0], c.text)
	}
}

func TestReadReading(t *testing.T) {
	lines, err := readAll(t, `{ "reading" : {"address":"0","terminal":1 , "controller":"north","moisture":46.2,"ec":1.8,"time":"2027-03-01T00:00:00.5-06:00"} , "at":"2027-03-01T00:00:00-06:00"}`)
	require.NoError(t, err)
	got := lines[0].Reading
	require.Equal(t, start, lines[0].At)
	require.Equal(t, zones.Place{Controller: "north", Terminal: 1, Address: "0"}, got.Place)
	require.Equal(t, zones.Level(46200), got.Moisture)
	require.True(t, got.HasMoisture)
	require.Equal(t, 1.8, got.EC)
	require.True(t, math.IsNaN(got.Temperature) && math.IsNaN(got.Permittivity))
	require.True(t, got.HasTime)
	require.Equal(t, time.Duration(start.UnixNano())+500*time.Millisecond, got.At)

	lines, err = readAll(t, at+`"reading":{"controller":"north","place":"a84041","permittivity":22.5}}`)
	require.NoError(t, err)
	require.False(t, lines[0].Reading.HasMoisture)
	require.Equal(t, zones.Place{Controller: "north", Address: "a84041"}, lines[0].Reading.Place)
}

func TestReadRefuses(t *testing.T) {
	reading := at + `"reading":{"controller":"north","terminal":1,"address":"0",`
	cases := []struct{ text, want, hint string }{
		{`{`, `line 1, column 2: want a string, have the end`, "quotes"},
		{`[]`, `want '{'`, ""},
		{at + `"readin":{}}`, `column 30: unknown key "readin"`, "reading"},
		{reading + `"moist":1}}`, `unknown key "moist"`, "moisture"},
		{reading + `"moisture":1,"moisture":2}}`, `"moisture" stands twice`, ""},
		{reading + `"moisture":"1"}}`, `want a number, have '"'`, "without quotes"},
		{reading + `"moisture":NaN}}`, `want a number`, ""},
		{reading + `"moisture":01}}`, `want a number`, ""},
		{reading + `"moisture":1.}}`, `want a number`, ""},
		{reading + `"moisture":1e999}}`, `want a number`, ""},
		{reading + `"moisture":null}}`, `want a number`, ""},
		{at + `"reading":{"controller":"north","terminal":1}}`, `where its probe is`, "address"},
		{at + `"reading":{"controller":"north","terminal":1.5,"address":"0"}}`, `whole number`, ""},
		{at + `"reading":{"terminal":1,"address":"0"}}`, `key "controller" is missing`, ""},
		{at + `"report":{"valve":"east"}}`, `does not say what its valve shows`, "open"},
		{at + `"controller":{"id":"north"}}`, `key "online" is missing`, ""},
		{at + `"broker":{"up":1}}`, `want true or false`, ""},
		{at + `"broker":{}}`, `key "up" is missing`, ""},
		{at + `"clock":{"step":"1 hour"}}`, `"1 hour" is no duration`, "Go duration"},
		{at + `"order":{"zone":"east"}}`, `key "kind" is missing`, ""},
		{at + `"order":{"kind":""}}`, `"" is no kind of order`, "commands"},
		{at + `"order":{"kind":"flood","zone":"east"}}`, `"flood" is no kind of order`, "hold, release, shot"},
		{at + `"order":{"kind":"shot","volume":"120"}}`, `"120" is no volume`, "mL"},
		{at + `"restart":{"now":true}}`, `unknown key "now"`, "none"},
		{at + `"broker":{"up":true},"restart":{}}`, `2 parts`, "one of reading"},
		{`{"at":"2027-03-01T06:00:00Z"}`, `0 parts`, ""},
		{`{"restart":{}}`, `key "at" is missing`, ""},
		{`{"at":"2027-03-01 06:00:00","restart":{}}`, `is not RFC 3339`, "T06:00:00Z"},
		{`{"at":"2027-03-01T06:00:00","restart":{}}`, `is not RFC 3339`, ""},
		{`{"at":"2027-02-30T06:00:00Z","restart":{}}`, `is not RFC 3339`, ""},
		{at + `"restart":{}} x`, `more follows`, "one object"},
		{at + `"restart":{},}`, `want a string`, ""},
		{at + `"order":{"kind":"no` + "\xff" + `te"}}`, `not valid JSON`, "UTF-8"},
		{at + `"order":{"kind":"note}}`, `does not end`, ""},
		{at + `"restart":{}}` + "\n" + `{"at":"2027-03-01T05:59:59Z","restart":{}}`, `line 2: "at" 2027-03-01T05:59:59.000Z is before`, "clock"},
		{`{"at":"1969-03-01T05:59:59Z","restart":{}}`, `year is outside`, ""},
		{strings.Repeat(" ", maxLine+1), `longer than 65536 bytes`, ""},
	}
	for _, c := range cases {
		_, err := readAll(t, c.text)
		var le *LineError
		require.ErrorAs(t, err, &le, c.text)
		require.Contains(t, err.Error(), c.want, c.text)
		require.Contains(t, le.Hint(), c.hint, c.text)
		require.Contains(t, err.Error(), "read trace: line ")
	}
}

// TestNumbers: the quick way of reading numbers gives what strconv gives.
func TestNumbers(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200000 {
		text := strconv.FormatFloat((rng.Float64()-0.5)*math.Pow(10, float64(rng.IntN(12))), 'f', rng.IntN(9), 64)
		want, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err)
		s := scanner{b: []byte(text)}
		got, err := s.number()
		require.NoError(t, err)
		require.Equal(t, want, got, text)
		require.Equal(t, len(text), s.i, text)
	}
}

func TestWildMoistureStaysWild(t *testing.T) {
	lines, err := readAll(t, fmt.Sprintf(at+`"reading":{"controller":"north","terminal":1,"address":"0","moisture":%g}}`, 1e12))
	require.NoError(t, err)
	require.Equal(t, zones.Level(1000000), lines[0].Reading.Moisture)
}
