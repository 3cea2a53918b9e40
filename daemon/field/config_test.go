package field

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestParseURL(t *testing.T) {
	for raw, want := range map[string]endpoint{
		"mqtt://127.0.0.1:1883":     {host: "127.0.0.1", port: "1883"},
		"mqtt://broker.example":     {host: "broker.example", port: "1883"},
		"mqtt://broker.example/":    {host: "broker.example", port: "1883"},
		"mqtts://broker.example":    {host: "broker.example", port: "8883", tls: true},
		"mqtts://[2001:db8::1]:999": {host: "2001:db8::1", port: "999", tls: true},
	} {
		got, err := parseURL(raw)
		require.NoError(t, err, raw)
		require.Equal(t, want, got, raw)
	}
	for raw, hint := range map[string]string{
		"":                          "mqtt:// or mqtts://",
		"127.0.0.1:1883":            "URL",
		"tcp://127.0.0.1":           "mqtt:// or mqtts://",
		"http://127.0.0.1":          "mqtt:// or mqtts://",
		"mqtt://":                   "names no host",
		"mqtt://:1883":              "names no host",
		"mqtt://a:b@127.0.0.1":      "username and password_file",
		"mqtt://127.0.0.1/room":     "nothing may follow",
		"mqtt://127.0.0.1?x=1":      "nothing may follow",
		"mqtt://127.0.0.1:notaport": "port",
	} {
		_, err := parseURL(raw)
		require.ErrorContains(t, err, hint, raw)
	}
}

func TestDialTellsAtOnceWhatWouldFailForEver(t *testing.T) {
	mono := func() time.Duration { return 0 }
	for hint, cfg := range map[string]Config{
		"mqtt:// or mqtts://": {URL: "x://y", Room: "bay-2", Mono: mono},
		"room id":             {URL: "mqtt://127.0.0.1", Room: "Bay 2", Mono: mono},
		"clock":               {URL: "mqtt://127.0.0.1", Room: "bay-2"},
		"not encrypted":       {URL: "mqtt://127.0.0.1", Room: "bay-2", Mono: mono, TLS: TLSFiles{CA: "x"}},
		"ca is missing":       {URL: "mqtts://127.0.0.1", Room: "bay-2", Mono: mono},
		"read the tls ca":     {URL: "mqtts://127.0.0.1", Room: "bay-2", Mono: mono, TLS: TLSFiles{CA: "/no/such"}},
		"no certificate":      {URL: "mqtts://127.0.0.1", Room: "bay-2", Mono: mono, TLS: TLSFiles{CA: writeFile(t, "x")}},
		"password":            {URL: "mqtt://127.0.0.1", Room: "bay-2", Mono: mono, PasswordFile: "/no/such"},
	} {
		l, err := Dial(cfg)
		require.ErrorContains(t, err, hint)
		require.Nil(t, l)
	}
}

func TestClientIDsDiffer(t *testing.T) {
	seen := map[string]bool{}
	for _, room := range []string{"bay-1", "bay-2"} {
		for _, machine := range []string{"a", "b"} {
			for _, role := range []string{"readings", "commands"} {
				c := Config{Room: room, Machine: machine}
				id := c.clientID(role)
				require.False(t, seen[id])
				require.Equal(t, id, c.clientID(role))
				seen[id] = true
			}
		}
	}
}

func TestPasswordLosesOneLineBreak(t *testing.T) {
	for text, want := range map[string]string{"a": "a", "a\n": "a", "a\r\n": "a", "a\n\n": "a\n", " a ": " a ", "": ""} {
		c := Config{PasswordFile: writeFile(t, text)}
		got, err := c.password()
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
}

func TestMatches(t *testing.T) {
	// MQTT 3.1.1, sections 4.7.1.2 and 4.7.1.3, the non-normative examples.
	for _, c := range []struct {
		filter, topic string
		want          bool
	}{
		{"sport/tennis/player1/#", "sport/tennis/player1", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/score/final", true},
		{"sport/#", "sport", true},
		{"#", "anything/at/all", true},
		{"sport/tennis/+", "sport/tennis/player1", true},
		{"sport/tennis/+", "sport/tennis/player1/ranking", false},
		{"sport/+", "sport", false},
		{"sport/+", "sport/", true},
		{"+/+", "/finance", true},
		{"/+", "/finance", true},
		{"+", "/finance", false},
		{"a/b", "a/b", true},
		{"a/b", "a/b/c", false},
		{"a/b/c", "a/b", false},
		{"a/+/c", "a/b/d", false},
	} {
		require.Equal(t, c.want, matches(c.filter, c.topic), "%s %s", c.filter, c.topic)
	}
}
