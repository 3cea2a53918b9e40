package operator_test

import (
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

// The document names every request, every key of one, and every kind of order.
func TestTheDocumentNamesEveryRequest(t *testing.T) {
	b, err := os.ReadFile("../../docs/operator.md")
	require.NoError(t, err)
	doc := string(b)
	for _, k := range []operator.Kind{operator.AskView, operator.AskJournal, operator.AskTrace, operator.AskWhy, operator.AskOrder,
		operator.AskApply, operator.AskPlans, operator.AskBackup, operator.AskRestore, operator.AskKeep, operator.AskPapers, operator.AskReport, operator.AskHistory} {
		require.Contains(t, doc, "\n| `"+string(k)+"` |")
	}
	for _, k := range zones.OrderKinds() {
		if k != "restore" && k != "uniformity" { // a request of its own; a command alone
			require.Contains(t, doc, "`"+string(k)+"`")
		}
	}
	for _, of := range []reflect.Type{reflect.TypeFor[operator.Request](), reflect.TypeFor[operator.Order](), reflect.TypeFor[operator.Reply]()} {
		for i := range of.NumField() {
			key, _, _ := strings.Cut(of.Field(i).Tag.Get("json"), ",")
			require.Regexp(t, "[`\"]"+key+"[`\"]", doc, "%s: %s", of.Name(), key)
		}
	}
}
