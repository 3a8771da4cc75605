// Nothing that is missing, impossible or beyond its range is accepted: every reading and capture of
// accepted packs is taken out, and replaced by what no good pack reads. Cases that are marked to
// fail are known holes; whoever closes one takes its mark away. Fixed seeds.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <functional>

#include "inspection/packs.h"

using namespace pinproof;
using inspection::Verdict;
using record::PulseCapture;
using record::Reading;
using tests::By;
using tests::Pack;

namespace {

std::vector<const Pack*> accepted_packs(bool full) {
  std::vector<const Pack*> out;
  for (const Pack& pack : tests::packs())
    if (pack.accepted() && (pack.by == By::relays_full) == full) out.push_back(&pack);
  return out;
}

bool accepts(const Pack& pack, const record::Record& record) {
  return inspection::judge(pack.profile, record).verdict == Verdict::accept;
}

std::string label(const Pack& pack, const record::Key& key) {
  return pack.name + ": " + key.check + " " + key.subject + " " + key.role;
}

using Which = std::function<bool(const Pack&, const Reading&)>;

struct Tried {
  int changes = 0;
  std::vector<std::string> accepted;
};

// The readings among `which`, each changed so: of how many the pack is accepted.
Tried accepted_with(const std::function<void(Reading&)>& change, const Which& which) {
  Tried out;
  for (const Pack* pack : accepted_packs(false))
    for (std::size_t e = 0; e < pack->record().events.size(); ++e) {
      const auto* was = std::get_if<Reading>(&pack->record().events[e]);
      if (!was || !which(*pack, *was)) continue;
      record::Record record = pack->record();
      change(std::get<Reading>(record.events[e]));
      ++out.changes;
      if (accepts(*pack, record)) out.accepted.push_back(label(*pack, was->key));
    }
  return out;
}

void check_none(const Tried& tried) {
  CHECK(tried.changes > 0);
  std::string all;
  for (const std::string& one : tried.accepted) all += "\n  " + one;
  INFO("of ", tried.changes, " changes accepted:", all);
  CHECK(tried.accepted.empty());
}

// Nothing conducts there in a good pack, or on a good bench.
bool is_open(const Reading& r) { return r.overload; }
// Nought ohm is a good value: a contact, a wire, the leads on one point.
bool may_be_nought(const Reading& r) {
  return !is_open(r) &&
         (r.key.check == "lever-table" || r.key.check == "pressure-switch" ||
          r.key.check == "wire" || r.key.role == "shorted" || r.key.role.starts_with("relays of"));
}
bool is_of_star(const Reading& r) { return r.key.check == "wire" && r.key.role != "direct"; }
bool is_pair(const Pack& pack, const Reading& r) {
  return pack.by == By::two_probes && r.key.check == "insulation";
}
bool is_after(const Reading& r) { return r.key.check == "temperature" && r.key.role == "after"; }
bool is_reference(const Reading& r) { return r.key.role.starts_with("reference"); }
bool is_bench_open(const Reading& r) { return r.key.check == "bench-check" && is_open(r); }
// Their uncertainty is one of several that are added in squares.
bool is_added(const Reading& r) {
  return r.key.check == "temperature" || r.key.check == "thermistor";
}

void set(Reading& r, double value) { r.measured.numbers().value = value, r.overload = false; }

}  // namespace

TEST_CASE("not one reading or capture is more than is needed") {
  for (const bool full : {false, true})
    for (const Pack* pack : accepted_packs(full)) {
      int taken = 0, redundant = 0;
      for (std::size_t e = 0; e < pack->record().events.size(); ++e) {
        const auto& event = pack->record().events[e];
        if (!std::holds_alternative<Reading>(event) && !std::holds_alternative<PulseCapture>(event))
          continue;
        record::Record record = pack->record();
        record.events.erase(record.events.begin() + static_cast<std::ptrdiff_t>(e));
        ++taken;
        redundant += accepts(*pack, record);
      }
      std::printf("%-36s %3d taken out one by one, %d redundant\n", pack->name.c_str(), taken,
                  redundant);
      CHECK(taken > 50);
      CHECK(redundant == 0);
    }
}

TEST_CASE("no number, none that is finite, is no value") {
  for (const double value : {static_cast<double>(NAN), static_cast<double>(INFINITY)})
    check_none(accepted_with([&](Reading& r) { set(r, value); },
                             [](const Pack& pack, const Reading& r) { return !is_pair(pack, r); }));
}

TEST_CASE("nought is accepted of nothing but what conducts") {
  check_none(accepted_with([](Reading& r) { set(r, 0); },
                           [](const Pack&, const Reading& r) { return !may_be_nought(r); }));
}

TEST_CASE("a resistance far below nought is accepted of nothing that has one") {
  for (const double value : {-5.0, -1e9})
    check_none(accepted_with([&](Reading& r) { set(r, value); },
                             [](const Pack&, const Reading& r) { return !may_be_nought(r); }));
}

TEST_CASE("a very high value, or an overload, is accepted of nothing but what is open") {
  const Which closed = [](const Pack&, const Reading& r) { return !is_open(r); };
  check_none(accepted_with(
      [](Reading& r) { set(r, 1e9); },
      [&](const Pack& pack, const Reading& r) { return closed(pack, r) && !is_of_star(r); }));
  check_none(accepted_with([](Reading& r) { r.measured.numbers().value = NAN, r.overload = true; },
                           closed));
}

TEST_CASE("an overload of a range that ends too low proves nothing") {
  for (const double end : {0.0, 100.0, 1e5})
    check_none(accepted_with(
        [&](Reading& r) {
          r.measured.numbers().value = NAN, r.overload = true, r.measured.numbers().range_end = end;
        },
        [](const Pack& pack, const Reading& r) { return !is_pair(pack, r) && !is_bench_open(r); }));
}

TEST_CASE("a value of unknown or impossible uncertainty is not accepted") {
  for (const double u : {static_cast<double>(NAN), static_cast<double>(INFINITY), 1e6})
    check_none(accepted_with([&](Reading& r) { r.measured.numbers().u = u; },
                             [&](const Pack&, const Reading& r) {
                               return !is_open(r) && !is_after(r) &&
                                      (std::isnan(u) || !is_reference(r));
                             }));
  check_none(
      accepted_with([](Reading& r) { r.measured.numbers().u = -1; },
                    [](const Pack&, const Reading& r) { return !is_open(r) && !is_added(r); }));
}

namespace {

// Every driven coil and one of each kind of gear load, of both profiles.
Tried accepted_with_capture(const std::function<void(PulseCapture&)>& change, bool loads) {
  Tried out;
  for (const Pack* pack : accepted_packs(true)) {
    std::size_t tried = 0;
    for (std::size_t e = 0; e < pack->record().events.size() && tried < 3; ++e) {
      const auto* was = std::get_if<PulseCapture>(&pack->record().events[e]);
      if (!was || (was->key.check == "gear-load") != loads) continue;
      ++tried;
      record::Record record = pack->record();
      change(std::get<PulseCapture>(record.events[e]));
      ++out.changes;
      if (accepts(*pack, record)) out.accepted.push_back(label(*pack, was->key));
    }
  }
  return out;
}

void fill(std::vector<double>& samples, double value) {
  std::fill(samples.begin(), samples.end(), value);
}

void fill_all(PulseCapture& c, double value) {
  fill(c.probe_V, value), fill(c.current_A, value), fill(c.supply_V, value);
}

}  // namespace

TEST_CASE("a capture of nothing, or of the impossible, is not accepted") {
  for (const double value : {static_cast<double>(NAN), 0.0, 1e9}) {
    INFO(value);
    for (const bool loads : {false, true})
      check_none(accepted_with_capture([&](PulseCapture& c) { fill_all(c, value); }, loads));
    check_none(accepted_with_capture([&](PulseCapture& c) { fill(c.current_A, value); }, false));
    check_none(accepted_with_capture([&](PulseCapture& c) { fill(c.probe_V, value); }, false));
  }
  check_none(accepted_with_capture(
      [](PulseCapture& c) { c.current_A[c.current_A.size() / 2] = NAN; }, false));
  check_none(accepted_with_capture(
      [](PulseCapture& c) {
        for (double& i : c.current_A) i *= 0.1;
      },
      false));
}

// Known holes, the worst first.

TEST_CASE("a gear is loaded by no current at all") {
  for (const double value : {0.0, static_cast<double>(NAN)})
    check_none(accepted_with_capture([&](PulseCapture& c) { fill(c.current_A, value); }, true));
}

TEST_CASE("a gear's supply voltage is not a number") {
  check_none(accepted_with_capture([](PulseCapture& c) { fill(c.supply_V, NAN); }, true));
}

TEST_CASE("by two probes, one pair's open was seen in a range of 100 ohm") {
  check_none(accepted_with(
      [](Reading& r) {
        r.measured.numbers().value = NAN, r.overload = true, r.measured.numbers().range_end = 100;
      },
      is_pair));
}

TEST_CASE("by two probes, one pair's insulation is not a number") {
  check_none(accepted_with([](Reading& r) { set(r, NAN); }, is_pair));
}

TEST_CASE("a contact or wire of -5 ohm") {
  check_none(accepted_with(
      [](Reading& r) { set(r, -5); },
      [](const Pack&, const Reading& r) { return may_be_nought(r) && r.key.role != "shorted"; }));
}

TEST_CASE("the far arms of a splice read 1e9 ohm, so its feed has less than none") {
  check_none(accepted_with([](Reading& r) { set(r, 1e9); },
                           [](const Pack&, const Reading& r) { return is_of_star(r); }));
}

TEST_CASE("the bench's own opens were seen in a range of 100 ohm") {
  check_none(accepted_with([](Reading& r) { r.measured.numbers().range_end = 100; },
                           [](const Pack&, const Reading& r) { return is_bench_open(r); }));
}

TEST_CASE("the reference resistor was read by a meter that knows nothing") {
  check_none(accepted_with([](Reading& r) { r.measured.numbers().u = 1e6; },
                           [](const Pack&, const Reading& r) { return is_reference(r); }));
}

TEST_CASE("the last temperature has no uncertainty, or a negative one") {
  check_none(accepted_with([](Reading& r) { r.measured.numbers().u = NAN; },
                           [](const Pack&, const Reading& r) { return is_after(r); }));
  check_none(accepted_with([](Reading& r) { r.measured.numbers().u = -1; },
                           [](const Pack&, const Reading& r) { return is_added(r); }));
}

// Ends the program (a mean over samples that are not there): --no-skip runs it.
TEST_CASE("a gear's capture that is cut short") {
  check_none(accepted_with_capture(
      [](PulseCapture& c) {
        const std::size_t kept = c.probe_V.size() / 4;
        c.probe_V.resize(kept), c.current_A.resize(kept), c.supply_V.resize(kept);
      },
      true));
}
