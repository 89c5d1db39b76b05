package monitoring

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/google/go-cmp/cmp"
	"github.com/grafana/grafana-foundation-sdk/go/bargauge"
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/plugins"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// The dashboard is built here, by the types of Grafana's own library: a field that Grafana does
// not have does not compile. Nothing of that library is linked into the program.

const boardFile = "makebreak-rigs.json"

// Of Okabe and Ito's set; told apart by who cannot tell red from green.
const (
	blue   = "#0072B2"
	orange = "#E69F00"
	grey   = "#7F7F7F"
)

// of narrows a metric to the rigs chosen.
const of = `job="makebreak",instance=~"$rig"`

// source is the Prometheus chosen on the dashboard.
var source = common.DataSourceRef{Type: cog.ToPtr("prometheus"), Uid: cog.ToPtr("${source}")}

// query asks for a course over time, now for the present value alone.
func query(expr, legend string) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().Datasource(source).Expr(expr).LegendFormat(legend).Range()
}

func now(expr, legend string) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().Datasource(source).Expr(expr).LegendFormat(legend).Instant()
}

// shades gives the series of a panel shades of one colour.
func shades(color string) *dashboard.FieldColorBuilder {
	return dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdShades).FixedColor(color)
}

func fixed(color string) *dashboard.FieldColorBuilder {
	return dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdFixed).FixedColor(color)
}

// course draws figures over time. Their limits are dashed lines.
func course(title, about, unit string, width uint32) *timeseries.PanelBuilder {
	return timeseries.NewPanelBuilder().Title(title).Description(about).Datasource(source).Unit(unit).Span(width).Height(8).
		ColorScheme(shades(blue)).LineWidth(1.5).FillOpacity(0).ShowPoints(common.VisibilityModeNever).
		SpanNulls(common.BoolOrFloat64{Bool: cog.ToPtr(false)}).
		Legend(common.NewVizLegendOptionsBuilder().DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom).ShowLegend(true)).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeMulti)).
		OverrideByRegexp("^limit ", []dashboard.DynamicConfigValue{
			{Id: "color", Value: dashboard.FieldColor{Mode: dashboard.FieldColorModeIdFixed, FixedColor: cog.ToPtr(grey)}},
			{Id: "custom.lineStyle", Value: common.LineStyle{Fill: cog.ToPtr(common.LineStyleFillDash), Dash: []float64{8, 6}}},
			{Id: "custom.lineWidth", Value: 2},
		})
}

// limits asks for the limits of a quantity.
func limits(metric, by string) *prometheus.DataqueryBuilder {
	return query("max by (signal, bound"+by+") ("+metric+"{"+of+"})", "limit {{bound}} {{signal}}"+map[string]string{", level": " {{level}}"}[by])
}

// bars draws one bar a series, of present values.
func bars(title, about, unit string, width uint32) *bargauge.PanelBuilder {
	return bargauge.NewPanelBuilder().Title(title).Description(about).Datasource(source).Unit(unit).Span(width).Height(8).Min(0).
		Orientation(common.VizOrientationHorizontal).DisplayMode(common.BarGaugeDisplayModeBasic).ValueMode(common.BarGaugeValueModeText).
		ColorScheme(fixed(blue)).ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"}))
}

// state shows a truth in words.
func state(title, about, zero, one string, wrong int, width uint32) *stat.PanelBuilder {
	say := func(x int, text string) dashboard.ValueMappingResult {
		color := blue
		if x == wrong {
			color = orange
		}
		return dashboard.ValueMappingResult{Text: cog.ToPtr(text), Color: cog.ToPtr(color)}
	}
	words := &dashboard.ValueMap{Type: dashboard.MappingTypeValueToText, Options: map[string]dashboard.ValueMappingResult{"0": say(0, zero), "1": say(1, one)}}
	return stat.NewPanelBuilder().Title(title).Description(about).Datasource(source).Span(width).Height(6).
		Mappings([]dashboard.ValueMapping{{ValueMap: words}}).ColorMode(common.BigValueColorModeValue).GraphMode(common.BigValueGraphModeNone).
		TextMode(common.BigValueTextModeValueAndName).Orientation(common.VizOrientationAuto).ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"}))
}

// rows shows the labels of a metric as a table, without what only Prometheus needs.
func rows(title, about string, width, height uint32, hidden ...string) *table.PanelBuilder {
	exclude := map[string]bool{"Time": true, "__name__": true, "job": true}
	for _, h := range hidden {
		exclude[h] = true
	}
	return table.NewPanelBuilder().Footer(common.NewTableFooterOptionsBuilder().Show(false).Reducer([]string{})).Title(title).Description(about).Datasource(source).Span(width).Height(height).
		WithTransformation(dashboard.DataTransformerConfig{Id: "organize", Options: map[string]any{
			"excludeByName": exclude, "renameByName": map[string]string{"Value": "units", "instance": "computer"}}})
}

func one(text string) dashboard.StringOrArrayOfString {
	return dashboard.StringOrArrayOfString{String: cog.ToPtr(text)}
}

func board() *dashboard.DashboardBuilder {
	row := dashboard.NewRowBuilder
	return dashboard.NewDashboardBuilder("Rigs").Uid("makebreak-rigs").Tags([]string{"makebreak"}).
		Description("What the rigs do, what their relays and outputs measure, and what the units tested came to.").
		Readonly().Refresh("30s").Time("now-24h", "now").Timezone(common.TimeZoneBrowser).
		WithVariable(dashboard.NewDatasourceVariableBuilder("source").Label("Prometheus").Type("prometheus")).
		WithVariable(dashboard.NewQueryVariableBuilder("rig").Label("Rig").Datasource(source).
			Query(dashboard.StringOrMap{String: cog.ToPtr(`label_values(up{job="makebreak"}, instance)`)}).
			Refresh(dashboard.VariableRefreshOnTimeRangeChanged).Multi(true).IncludeAll(true).
			Current(dashboard.VariableOption{Selected: cog.ToPtr(true), Text: one("All"), Value: one("$__all")})).
		WithRow(row("Now")).
		WithPanel(state("Computer", "Whether Prometheus could read the metrics.", "does not answer", "answers", 0, 6).
			WithTarget(now(`up{`+of+`}`, "{{instance}}"))).
		WithPanel(state("Rig", "Whether the rig of the run answers.", "answers", "lost", 1, 6).
			WithTarget(now(`makebreak_rig_lost{`+of+`}`, "{{instance}} {{position}}"))).
		WithPanel(rows("Runs", "The present or last run, and its verdict so far.", 12, 6, "Value").
			WithTarget(now(`(makebreak_run_verdict{`+of+`} == 1) * on (job, instance, position) group_left (rig, unit, sequence, simulated) makebreak_run_info`, "").Format(prometheus.PromQueryFormatTable))).
		WithPanel(course("Cycles an hour", "Over the last 5 minutes.", "none", 12).Min(0).
			WithTarget(query(`3600 * instance:makebreak_cycles:rate5m{`+of+`}`, "{{instance}} {{position}}"))).
		WithPanel(bars("Cycles done of those planned", "Of the present or last run, over all its sittings.", "percentunit", 12).Max(1).
			WithTarget(now(`makebreak_last_cycle_number{`+of+`} / makebreak_planned_cycles`, "{{instance}} {{position}}")).
			WithTarget(now(`makebreak_log_run_cycles{`+of+`} / makebreak_log_run_planned_cycles`, "{{instance}} {{run}}"))).
		WithRow(row("Relays")).
		WithPanel(course("Operate time", "Mean of the last hour.", "s", 12).Min(0).
			WithTarget(query(`instance_signal_event:makebreak_operate_time_seconds:mean1h{`+of+`}`, "{{instance}} {{position}} {{signal}} at {{event}}")).
			WithTarget(limits("makebreak_operate_time_limit_seconds", ""))).
		WithPanel(course("Release time", "Mean of the last hour.", "s", 12).Min(0).
			WithTarget(query(`instance_signal_event:makebreak_release_time_seconds:mean1h{`+of+`}`, "{{instance}} {{position}} {{signal}} at {{event}}")).
			WithTarget(limits("makebreak_release_time_limit_seconds", ""))).
		WithPanel(course("Bounce time", "99 % of the last hour's bounces are shorter. Right to the width of a bucket.", "s", 12).Min(0).
			WithTarget(query(`instance_signal_event:makebreak_bounce_time_seconds:p99_1h{`+of+`}`, "{{instance}} {{position}} {{signal}} at {{event}}")).
			WithTarget(limits("makebreak_bounce_time_limit_seconds", ""))).
		WithPanel(course("Drift", "By how much the last hour's mean is above the mean since the program began.", "s", 12).AxisCenteredZero(true).
			WithTarget(query(`instance_signal_event:makebreak_operate_time_seconds:drift1h{`+of+`}`, "operate {{instance}} {{position}} {{signal}}")).
			WithTarget(query(`instance_signal_event:makebreak_release_time_seconds:drift1h{`+of+`}`, "release {{instance}} {{position}} {{signal}}"))).
		WithRow(row("Outputs")).
		WithPanel(course("Level", "The output's low and high level when last measured.", "volt", 12).
			WithTarget(query(`makebreak_output_level_volts{`+of+`}`, "{{instance}} {{position}} {{signal}} {{level}}")).
			WithTarget(limits("makebreak_output_level_limit_volts", ", level"))).
		WithPanel(course("Switching delay", "Mean of the last hour, from the event to the output's crossing.", "s", 12).Min(0).
			WithTarget(query(`rate(makebreak_switching_delay_seconds_sum{`+of+`}[1h]) / (rate(makebreak_switching_delay_seconds_count{`+of+`}[1h]) > 0)`, "{{instance}} {{position}} {{signal}} at {{event}}")).
			WithTarget(limits("makebreak_switching_delay_limit_seconds", ""))).
		WithRow(row("What is wrong")).
		WithPanel(course("Cycles that did not pass", "Share of the cycles of the last hour that failed or stayed undecided.", "percentunit", 8).Min(0).ColorScheme(shades(orange)).
			WithTarget(query(`instance:makebreak_cycles_not_passed:ratio1h{`+of+`}`, "{{instance}} {{position}}"))).
		WithPanel(bars("Symptoms", "What was seen wrong or doubtful since the program began, the most frequent first.", "none", 8).ColorScheme(fixed(orange)).NoValue("none").
			WithTarget(now(`topk(12, sum by (instance, position, signal, kind) (makebreak_symptoms_total{`+of+`}))`, "{{instance}} {{position}} {{signal}}: {{kind}}"))).
		WithPanel(course("Measuring problems", "Lost conversions and edges, failed transfers and converters that were reset, an hour.", "none", 8).Min(0).ColorScheme(shades(orange)).
			WithTarget(query(`3600 * rate(makebreak_missed_conversions_total{`+of+`}[1h])`, "{{instance}} conversions")).
			WithTarget(query(`3600 * rate(makebreak_lost_edges_total{`+of+`}[1h])`, "{{instance}} edges")).
			WithTarget(query(`3600 * rate(makebreak_bus_errors_total{`+of+`}[1h])`, "{{instance}} transfers")).
			WithTarget(query(`3600 * rate(makebreak_chip_resets_total{`+of+`}[1h])`, "{{instance}} resets"))).
		WithRow(row("Workshop")).
		WithPanel(bars("First-pass yield", "Share of the units that passed in their first run of the sequence, over all rigs.", "percentunit", 8).Max(1).
			WithTarget(now(`sequence:makebreak_first_pass_yield:ratio`, "{{sequence}} (simulated: {{simulated}})"))).
		WithPanel(rows("Units tested by day", "By the verdict of the unit's last run of the day.", 8, 8).
			WithTarget(now(`sum by (day, sequence, verdict) (makebreak_log_day_units{`+of+`}) > 0`, "").Format(prometheus.PromQueryFormatTable))).
		WithPanel(bars("Calibrations fall due", "Days that are left.", "d", 8).
			WithTarget(now(`instance_signal:makebreak_calibration_due:days{`+of+`}`, "{{instance}} {{position}} {{signal}}"))).
		WithPanel(course("Log", "Its size.", "bytes", 12).Min(0).
			WithTarget(query(`makebreak_log_size_bytes{`+of+`}`, "{{instance}}"))).
		WithPanel(course("Disk of the log", "Room that is left.", "bytes", 12).Min(0).
			WithTarget(query(`makebreak_log_free_bytes{`+of+`}`, "{{instance}}")))
}

// numbered is the dashboard with a number for each panel and a letter for each of its queries.
func numbered(t *testing.T) dashboard.Dashboard {
	t.Helper()
	built, err := board().Build()
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range built.Panels {
		id := uint32(i + 1)
		if p.RowPanel != nil {
			p.RowPanel.Id = id
			continue
		}
		p.Panel.Id = &id
		for n, target := range p.Panel.Targets {
			query, ok := target.(prometheus.Dataquery)
			if !ok {
				t.Fatalf("%T is no query of Prometheus", target)
			}
			query.RefId = cog.ToPtr(string(rune('A' + n)))
			p.Panel.Targets[n] = query
		}
	}
	return built
}

// The file is what is built here. MAKEBREAK_UPDATE=1 writes it.
func TestBoard_File(t *testing.T) {
	t.Parallel()
	want, err := json.MarshalIndent(numbered(t), "", " ")
	if err != nil {
		t.Fatal(err)
	}
	want = append(want, '\n')
	if os.Getenv("MAKEBREAK_UPDATE") == "1" {
		if err := os.WriteFile(boardFile, want, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	got, err := os.ReadFile(boardFile)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(want, got) {
		t.Errorf("%s is not what is built; MAKEBREAK_UPDATE=1 go test writes it anew (-want +got):\n%s", boardFile, cmp.Diff(string(want), string(got)))
	}
}

// Grafana's own library reads the file strictly: each key is one that Grafana's schema has, each
// value of its type, none that it demands is missing. No Grafana has shown it here.
func TestBoard_Strict(t *testing.T) {
	t.Parallel()
	plugins.RegisterDefaultPlugins()
	text, err := Files.ReadFile(boardFile)
	if err != nil {
		t.Fatal(err)
	}
	read, err := strictly(text)
	if err != nil {
		t.Fatal(err)
	}
	if err := read.Validate(); err != nil {
		t.Error(err)
	}
	for _, wrong := range [][2]string{{`"refId"`, `"refID"`}, {`"gridPos"`, `"gridPosition"`}, {`"h": 8`, `"h": "8"`}, {`"reducer"`, `"reduced"`}} {
		if !bytes.Contains(text, []byte(wrong[0])) {
			t.Errorf("the dashboard has no %s", wrong[0])
		}
		if _, err := strictly(bytes.Replace(text, []byte(wrong[0]), []byte(wrong[1]), 1)); err == nil {
			t.Errorf("a dashboard with %s in place of %s was taken", wrong[1], wrong[0])
		}
	}
}

// strictly reads a dashboard. The library returns an error without any fault in it where there is
// none.
func strictly(text []byte) (d dashboard.Dashboard, err error) {
	err = d.UnmarshalJSONStrict(text)
	var faults cog.BuildErrors
	if errors.As(err, &faults) && len(faults) == 0 {
		err = nil
	}
	return d, err
}

// expressions returns the PromQL of the dashboard, in its order. $rig in it stands for the rigs
// chosen, a regular expression.
func expressions(t *testing.T) (all []string) {
	t.Helper()
	var board struct {
		Panels []struct{ Targets []struct{ Expr string } }
	}
	text, err := Files.ReadFile(boardFile)
	if err == nil {
		err = json.Unmarshal(text, &board)
	}
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range board.Panels {
		for _, query := range p.Targets {
			all = append(all, query.Expr)
		}
	}
	return all
}

// Prometheus' own parser takes each expression of the dashboard, and the names in them are there.
func TestBoard_Expressions(t *testing.T) {
	t.Parallel()
	known, records := catalogue(t), readRules(t)
	var asRules struct {
		Groups []map[string]any `yaml:"groups"`
	}
	var rules []map[string]string
	for i, expr := range expressions(t) {
		expr = strings.ReplaceAll(expr, "$rig", ".+")
		if unknown := unknownNames(known, records, expr); len(unknown) > 0 {
			t.Errorf("%s: there are no metrics %q", expr, unknown)
		}
		rules = append(rules, map[string]string{"record": "board:expression:" + strconv.Itoa(i), "expr": expr})
	}
	asRules.Groups = []map[string]any{{"name": "board", "rules": rules}}
	text, err := yaml.Marshal(asRules)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "board.yml"), text, 0o644); err != nil {
		t.Fatal(err)
	}
	promtool(t, dir, "check", "rules", "board.yml")
	if len(rules) < 25 {
		t.Errorf("%d expressions", len(rules))
	}
}

// Nothing on the dashboard is told by red against green alone.
func TestBoard_Colours(t *testing.T) {
	t.Parallel()
	text, err := Files.ReadFile(boardFile)
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"green", "red\"", "RdYlGr", "GrYlRd", "palette-classic"} {
		if strings.Contains(string(text), word) {
			t.Errorf("the dashboard has a colour %q", word)
		}
	}
}
