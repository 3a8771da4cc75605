#include "inspection/run/measure.h"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "inspection/run/run.h"
#include "metrology/accuracy.h"
#include "metrology/uncertainty.h"
#include "quantity/error.h"
#include "quantity/statistics.h"
#include "quantity/text.h"

namespace pinproof::inspection {
namespace {

constexpr Resistance kFourWireBelow{1e6};  // above, leads do not matter and guarding does
constexpr Resistance kNullBelow{1e4};      // below, two-wire readings are corrected for the leads
constexpr Duration kComputerLate{0.1};     // that a pulse lasts longer where a computer ends it
constexpr Resistance kShorted{0.1}, kLeadOff{10};  // both leads on one point: expected, at most
constexpr double kHeadroom = 1.3;          // a first range that also holds a part somewhat off
constexpr Duration kPretrigger{2e-3};      // zero lines and noise before the pulse
constexpr std::size_t kMostPoints = 6000;  // that any digitiser keeps
constexpr Duration kFinest{1e-5};          // between two samples

// Standard deviation of the mean; 0 where one value leaves nothing to judge by. Few values say
// little about their own spread: twice what is given here covers as much as Student's t does
// (JCGM 100, G.3).
double repeatability(const std::vector<double>& values) {
  if (values.size() < 2) return 0;
  const double mean = mean_of(values);
  double sum = 0;
  for (const double v : values) sum += (v - mean) * (v - mean);
  const double n = static_cast<double>(values.size());
  constexpr double kTwo = 0.9545;  // the coverage of k = 2
  return metrology::coverage_factor(kTwo, n - 1) / 2 * std::sqrt(sum / (n - 1) / n);
}

// Rising ranges of one function.
std::vector<double> ranges_of(const metrology::AccuracyTable& table, std::string_view function) {
  std::vector<double> out;
  for (const auto& entry : table)
    if (entry.function == function) out.push_back(entry.range);
  std::sort(out.begin(), out.end());
  return out;
}

double over_of(const metrology::AccuracyTable& table, std::string_view function, double range) {
  for (const auto& entry : table)
    if (entry.function == function && entry.range == range) return entry.over;
  return 1;
}

Duration length_of(const DriveStep& step) { return kPretrigger + step.pulse + step.after; }

// Both leads on one point: what the leads themselves have.
bool is_shorted(const record::Key& key) {
  return key.check == "bench-check" && key.role == "shorted";
}

}  // namespace

bench::Patience Measure::patience(double seconds) const {
  return {Duration{seconds}, options_.stop};
}

// Starts in the smallest range that should hold the value, climbs on overload
// and comes down once when a smaller range would be sharper.
bench::ShownOhms Measure::in_best_range(bool four_wire, Resistance expected, Resistance enough) {
  const auto& table = options_.bench->find("meter")->accuracy;
  const std::string function = four_wire ? "ohm-4w" : "ohm-2w";
  const auto ranges = ranges_of(table, function);
  if (ranges.empty())
    throw Error(Fault::bench, "bench \"" + options_.bench->name +
                                  "\": the meter's accuracy table has no range for " + function);
  const auto holds = [&](Resistance value) {
    return static_cast<std::size_t>(
        std::find_if(ranges.begin(), ranges.end(),
                     [&](double r) { return r * over_of(table, function, r) >= value.si(); }) -
        ranges.begin());
  };
  const auto read = [&](std::size_t range) {
    return options_.instruments->meter->ohms(four_wire, Resistance{ranges[range]},
                                             patience(options_.answer_s));
  };
  std::size_t at = std::min(holds(kHeadroom * expected), ranges.size() - 1);
  bench::ShownOhms shown = read(at);
  // A meter that chooses its range by itself says which one it was.
  while (shown.overload && shown.range < std::min(enough, Resistance{ranges.back()}) &&
         at + 1 < ranges.size())
    shown = read(++at);
  const std::size_t better = shown.overload ? at : std::min(holds(abs(shown.value) * 1.05), at);
  if (better < at && Resistance{ranges[better]} < shown.range) {
    const bench::ShownOhms sharper = read(better);
    if (!sharper.overload) shown = sharper;
  }
  return shown;
}

void Measure::connect(const OhmStep& step, bool four_wire) {
  bench::Paths& paths = *options_.instruments->paths;
  if (!step.rows.empty()) return paths.connect_rows(step.rows, patience(options_.answer_s));
  if (step.between.high.empty() && step.between.low.empty())
    return paths.open_all(patience(options_.answer_s));
  paths.connect_meter(step.between, four_wire, step.expected, patience(options_.answer_s));
}

// By relays the first reading after they have moved is thrown away: it may have begun before, and
// some instruments answer with the one before. The next must agree with it about being open, and
// an open is believed only while the relays say that they are closed; otherwise all is connected
// once more. A contact that chatters may disagree for good.
bench::ShownOhms Measure::first(const OhmStep& step, bool four_wire) {
  constexpr int kTimes = 3;  // that all is connected before disagreement is believed
  bench::Paths& paths = *options_.instruments->paths;
  if (!paths.can_tie()) return in_best_range(four_wire, step.expected, step.enough);
  for (int time = 1;; ++time) {
    const bench::ShownOhms before = in_best_range(four_wire, step.expected, step.enough);
    bench::ShownOhms shown =
        options_.instruments->meter->ohms(four_wire, before.range, patience(options_.answer_s));
    const bool fell = shown.overload && !paths.still_connected(patience(options_.answer_s));
    if (!fell && shown.overload == before.overload) return shown;
    // What speaks against the part counts: it opens and closes while nobody touches it.
    if (!fell && time == kTimes) return shown.overload == isfinite(step.expected) ? shown : before;
    if (fell && time == kTimes)
      throw Error(Fault::bench, "the relays do not stay as they were told");
    paths.open_all(patience(options_.answer_s));
    connect(step, four_wire);
  }
}

Resistance Measure::lead_null(const record::Reading& reading, Resistance raw) {
  if (reading.function != "ohm-2w" || raw >= kNullBelow || is_shorted(reading.key))
    return Resistance{0};
  if (!two_wire_null_) {
    const std::string point(options_.bench->fixture.reference ? bench::kReferencePlus
                                                              : std::string_view(profile::kCase));
    options_.instruments->paths->connect_meter({{point}, {point}}, false, kShorted,
                                               patience(options_.answer_s));
    const bench::ShownOhms shown = in_best_range(false, Resistance{1});
    if (shown.overload || shown.value > kLeadOff)
      throw Error(Fault::bench, "leads shorted read " + format_si(shown.value.si(), Unit::ohm) +
                                    ": a lead is off");
    two_wire_null_ = shown.value;
    options_.instruments->paths->connect_meter({reading.from, reading.to}, false, raw,
                                               patience(options_.answer_s));
  }
  return *two_wire_null_;
}

void Measure::fill_uncertainty(const std::string& function, const std::vector<double>& shown,
                               record::Numbers& ohms) const {
  const auto& table = options_.bench->find("meter")->accuracy;
  const auto accuracy =
      metrology::standard_uncertainty(table, function, ohms.range_end, ohms.value);
  if (!accuracy)
    throw Error(Fault::bench, "bench \"" + options_.bench->name + "\": no accuracy for " +
                                  function + " in range " + format_si(ohms.range_end, Unit::ohm));
  ohms.u_random = repeatability(shown);
  double leads = 0;
  // Nulled leads leave the spread of the contacts; the reading before the null
  // was taken has the whole lead in it, but is then far above it.
  if (function == "ohm-2w") leads = std::sqrt(2.0) * options_.bench->fixture.contact_u_ohm;
  ohms.u = std::hypot(*accuracy, ohms.u_random, leads);
}

record::Reading Measure::ohms(const record::Key& key, const OhmStep& step,
                              const record::Condition& condition) {
  auto& instruments = *options_.instruments;
  if (!instruments.meter || !instruments.paths)
    throw Error(Fault::bench, "no meter, or nothing to connect it with");
  const bool four_wire = instruments.meter->can_four_wire() && step.expected < kFourWireBelow;
  record::Reading reading;
  reading.key = key, reading.from = step.between.high, reading.to = step.between.low,
  reading.condition = condition;
  connect(step, four_wire);

  std::vector<double> shown;  // ohm
  bench::ShownOhms last;
  for (int i = 0; i < std::max(step.repeats, 1); ++i) {
    last = shown.empty()
               ? first(step, four_wire)
               : instruments.meter->ohms(four_wire, last.range, patience(options_.answer_s));
    if (last.overload) break;
    shown.push_back(last.value.si());
  }
  reading.function = last.function;
  reading.instrument = instruments.meter->name();
  reading.overload = last.overload;
  reading.repeats = static_cast<int>(std::max<std::size_t>(shown.size(), 1));
  reading.at_s = options_.now_s();
  reading.measured = {Unit::ohm, last.overload ? beyond(last) : numbers_of(reading, last, shown)};
  return reading;
}

// An open: all that is known of it is where the range ends.
record::Numbers Measure::beyond(const bench::ShownOhms& last) const {
  const double range = last.range.si();
  record::Numbers out;
  out.value = out.u = std::nan("");
  out.range_end = range * over_of(options_.bench->find("meter")->accuracy, last.function, range);
  return out;
}

record::Numbers Measure::numbers_of(const record::Reading& reading, const bench::ShownOhms& last,
                                    const std::vector<double>& shown) {
  record::Numbers out;
  const auto [least, most] = std::minmax_element(shown.begin(), shown.end());
  out.spread = *most - *least;
  out.value = mean_of(shown);
  out.range_end = last.range.si();
  fill_uncertainty(last.function, shown, out);
  const Resistance raw{out.value};
  // The self-check has just read the shorted leads: nobody need short them again.
  if (is_shorted(reading.key) && last.function == "ohm-2w" && raw < kLeadOff) two_wire_null_ = raw;
  out.lead_null = lead_null(reading, raw).si();
  out.value -= out.lead_null;
  return out;
}

record::Reading Measure::celsius(const record::Key& key) {
  auto& meter = options_.instruments->meter;
  if (!meter) throw Error(Fault::bench, "no meter to read the thermometer with");
  // The first may still be an answer to the question before; nobody is asked twice.
  if (options_.instruments->paths && options_.instruments->paths->can_tie())
    (void)meter->celsius(patience(options_.answer_s));
  const bench::ShownCelsius shown = meter->celsius(patience(options_.answer_s));
  if (shown.overload)
    throw Error(Fault::bench, meter->name() + ": the thermometer is open or out of range");
  record::Numbers numbers;
  numbers.value = shown.value.celsius();
  numbers.u = options_.bench->thermometer_u_K;
  record::Reading reading;
  reading.key = key;
  reading.measured = {Unit::celsius, numbers};
  reading.function = shown.function;
  reading.instrument = meter->name();
  reading.at_s = options_.now_s();
  return reading;
}

bench::SweepSetup Measure::sweep_for(const DriveStep& step) const {
  bench::SweepSetup sweep;
  const Duration total = length_of(step);
  sweep.interval =
      kFinest * std::max(1.0, std::ceil(total / static_cast<double>(kMostPoints) / kFinest));
  sweep.points = static_cast<std::size_t>(total / sweep.interval);
  sweep.pretrigger = static_cast<std::size_t>(kPretrigger / sweep.interval);
  const auto ranges = ranges_of(options_.bench->find("digitiser")->accuracy, "volt");
  const auto range_for = [&](Voltage most) {
    const auto it =
        std::find_if(ranges.begin(), ranges.end(), [&](double r) { return r >= most.si(); });
    return Voltage{it == ranges.end() ? ranges.back() : *it};
  };
  if (ranges.empty())
    throw Error(Fault::bench, "bench \"" + options_.bench->name +
                                  "\": the digitiser's accuracy table has no range");
  sweep.probe_range = range_for(step.probe_range);
  sweep.supply_range = range_for(1.05 * step.voltage);
  sweep.shunt_range = range_for(1.2 * step.limit * Resistance{options_.bench->fixture.shunt.ohm});
  return sweep;
}

record::PulseCapture Measure::drive(const record::Key& key, const DriveStep& step,
                                    const record::Condition& condition,
                                    bench::Energising& energising) {
  auto& instruments = *options_.instruments;
  std::vector<const profile::Part*> coils;
  for (const std::string& name : step.coils) coils.push_back(options_.profile->find_part(name));
  const bench::SweepSetup sweep = sweep_for(step);

  instruments.paths->connect_drive(step.drive, step.probe, patience(options_.answer_s));
  // A pulse that a computer times can be longer than it was meant: the budget counts that.
  const Duration worst =
      instruments.supply->times_pulses() ? step.pulse : step.pulse + kComputerLate;
  if (step.conductor)
    bench::Energising::prepare_conductor(worst, step.limit);
  else
    energising.prepare(coils, worst, step.limit);
  bench::OutputOff off(*instruments.supply);
  instruments.supply->set(step.voltage, step.limit, patience(options_.answer_s));
  instruments.digitiser->arm(sweep, patience(options_.answer_s));
  instruments.supply->pulse(step.pulse, patience(options_.answer_s + 2 * length_of(step).si()));
  energising.pulsed(coils, worst);
  off.now();
  bench::Sweep taken = instruments.digitiser->fetch(patience(2 * options_.answer_s));
  refuse_stale(taken, key.subject);

  record::PulseCapture out = captured(step, sweep, std::move(taken));
  out.key = key, out.condition = condition;
  return out;
}

record::PulseCapture Measure::captured(const DriveStep& step, const bench::SweepSetup& sweep,
                                       bench::Sweep taken) const {
  record::PulseCapture out;
  out.coils = step.coils;
  out.set_V = step.voltage.si();
  out.limit_A = step.limit.si();
  out.pulse_s = step.pulse.si();
  out.interval_s = taken.interval.si();
  out.start_s = -static_cast<double>(sweep.pretrigger) * out.interval_s;
  out.probe_V = std::move(taken.probe_V);
  out.probe = {step.probe.high.front(), step.probe.low.front()};
  out.supply_V = std::move(taken.supply_V);
  out.current_A = std::move(taken.shunt_V);
  for (double& v : out.current_A) v /= options_.bench->fixture.shunt.ohm;
  fill_accuracy(out, sweep);
  out.instrument = options_.instruments->digitiser->name();
  out.at_s = options_.now_s();
  return out;
}

// Noise makes no two sweeps alike to the last bit: what comes twice is an old buffer, and the coil
// that it shows is another one. Noise shows where a channel moves often; the few steps of one that
// is flat, or that a scope of eight bits rounds, may come again of themselves.
void Measure::refuse_stale(const bench::Sweep& taken, const std::string& subject) {
  constexpr int kAlive = 32;  // samples unlike the one before
  const auto refuse = [&](const char* channel, const std::vector<double>& now) {
    int moves = 0;
    for (std::size_t k = 1; k < now.size(); ++k) moves += now[k] != now[k - 1];
    if (moves < kAlive || swept_.insert(now).second) return;
    throw Error(Fault::bench, options_.instruments->digitiser->name() + ": all " +
                                  std::to_string(now.size()) + " samples of the " + channel +
                                  " of " + subject + " have come before: it took no new sweep");
  };
  refuse("current", taken.shunt_V);
  refuse("voltage", taken.probe_V);
}

void Measure::fill_accuracy(record::PulseCapture& out, const bench::SweepSetup& sweep) const {
  const auto& table = options_.bench->find("digitiser")->accuracy;
  const auto& shunt = options_.bench->fixture.shunt;
  const auto gain = [&](double range) {
    const auto at_full = metrology::standard_uncertainty(table, "volt", range, range);
    const auto at_zero = metrology::standard_uncertainty(table, "volt", range, 0);
    if (!at_full || !at_zero)
      throw Error(Fault::bench, "the digitiser's accuracy table has no entry for range " +
                                    format_si(range, Unit::volt));
    return std::pair{(*at_full - *at_zero) / range, *at_zero};
  };
  std::tie(out.voltage_gain_u, out.voltage_offset_u) = gain(sweep.probe_range.si());
  const auto [shunt_gain, shunt_offset] = gain(sweep.shunt_range.si());
  out.current_gain_u = std::hypot(shunt_gain, shunt.u_ohm / shunt.ohm);
  out.current_offset_u = shunt_offset / shunt.ohm;
  out.clip_V = sweep.probe_range.si();
  out.clip_A = (sweep.shunt_range / Resistance{shunt.ohm}).si();
}

}  // namespace pinproof::inspection
