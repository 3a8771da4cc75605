#include "campaign/cases.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <random>
#include <set>

#include "bench/description.h"
#include "paths.h"
#include "quantity/text.h"
#include "simulated/faults.h"
#include "simulated/server.h"

namespace pinproof::campaign {
namespace {

using inspection::Detection;
using simulated::FaultClass;

constexpr double kShares[] = {0.25, 0.30, 0.15, 0.15, 0.15};  // of the strata, in their order
constexpr double kAtLimit = 1.0 / 3;  // of the sizes; the others lie beyond it
constexpr int kDigits = 6;            // of a size as it is written
constexpr int kMostBegin = 200;       // readings of the meter before a bench fault begins
constexpr double kRows = 8;

const FaultClass& class_of(const Detection& one) {
  const std::string target = one.part.substr(0, one.part.find(' '));
  const auto fits = [&](const FaultClass& kind) {
    const bool contact = target == "switch" && (kind.applies_to == "contact");
    return kind.name == one.fault && (kind.applies_to == target || contact);
  };
  const auto classes = simulated::fault_classes();
  return *std::find_if(classes.begin(), classes.end(), fits);
}

// As it is written, rounded but never towards the limit: "300000e-5", "104605e-6".
std::string outward(double size, bool up) {
  const int exponent = static_cast<int>(std::floor(std::log10(size))) - kDigits + 1;
  // Sizes with fewer digits are what they are.
  const double steps = size / std::pow(10.0, exponent), whole = std::round(steps);
  const bool even = std::abs(steps - whole) < 1e-6;
  const double rounded = even ? whole : up ? std::ceil(steps) : std::floor(steps);
  return std::to_string(std::llround(rounded)) + "e" + std::to_string(exponent);
}

// Sizes of bench faults worth a try, where that is not all the class allows. Of percentages that
// may go both ways, both.
struct Span {
  double least, most;
  bool both = false;
};
const std::map<std::string_view, Span> kSpans{
    {"meter-drift", {0.1, 50, true}}, {"range-drift", {0.1, 50, true}},
    {"wrong-shunt", {0.5, 99, true}}, {"link-delay", {1e-3, 20e-3}},
    {"lead-resistance", {1, 1e4}},
};

bool wants_relays(const FaultClass& kind) {
  static const std::set<std::string_view> kOnly{"relay-welded",  "relay-open",      "sense-open",
                                                "sense-swapped", "lead-resistance", "reset"};
  return kOnly.contains(kind.name);
}

bool wants_drive(const FaultClass& kind) {
  static const std::set<std::string_view> kOnly{
      "wrong-shunt", "shunt-swapped", "probe-swapped",   "supply-swapped",
      "supply-sag",  "noise-burst",   "dropped-samples", "duplicated-samples"};
  return kOnly.contains(kind.name);
}

// Pins and coils that a fault lies on: two faults on one of them may undo each other. Two probes
// cannot tell an open coil whose pin touches another coil's from a good one, relays can.
std::set<std::string> touched(const profile::Profile& profile, const Detection& one, Means means) {
  std::set<std::string> out{one.part};
  for (const auto& part : profile.parts)
    if (means == Means::hand && part.coil() && one.part == "coil " + part.name)
      for (const std::string& node : part.between) out.insert("pin " + node);
  if (one.part.starts_with("pin ") && !one.other.empty()) out.insert("pin " + one.other);
  if (one.part == "pack")
    for (const auto& pin : profile.connector.pins) out.insert("pin " + pin.number);
  if (!one.part.starts_with("coil ")) return out;
  std::vector<const profile::Part*> coils;
  for (const auto& part : profile.parts)
    if (part.coil()) coils.push_back(&part);
  for (std::size_t k = 0; k < coils.size(); ++k) {
    if ("coil " + coils[k]->name != one.part) continue;
    if (one.fault == "cross-leak") out.insert("coil " + coils[(k + 1) % coils.size()]->name);
    // Two equal coils that are both off in the same way still match.
    std::vector<const profile::Part*> set;
    for (const auto* other : coils)
      if (other->coil()->resistance_ohm.low == coils[k]->coil()->resistance_ohm.low)
        set.push_back(other);
    if (set.size() == 2)
      for (const auto* other : set) out.insert("coil " + other->name);
  }
  return out;
}

bool meet(const std::set<std::string>& a, const std::set<std::string>& b) {
  return std::any_of(a.begin(), a.end(), [&](const std::string& one) { return b.contains(one); });
}

}  // namespace

// Draws of one case.
class Drawing::Hand {
 public:
  Hand(std::uint64_t seed, std::size_t number) {
    std::seed_seq mixed{seed & 0xffffffffU, seed >> 32, std::uint64_t{number} & 0xffffffffU,
                        std::uint64_t{number} >> 32};
    random_.seed(mixed);
  }
  double share() { return std::uniform_real_distribution<double>(0, 1)(random_); }
  std::size_t one_of(std::size_t n) {
    return std::uniform_int_distribution<std::size_t>(0, n - 1)(random_);
  }
  bool heads() { return share() < 0.5; }
  double between(double least, double most) { return least * std::pow(most / least, share()); }
  std::uint64_t seed() { return random_() >> 32; }

  template <class Shares>
  std::size_t by_share(const Shares& shares) {
    double left = share();
    std::size_t k = 0;
    for (const double each : shares) {
      left -= each;
      if (left < 0) break;
      ++k;
    }
    return std::min(k, std::size(shares) - 1);
  }

  // Half of them any entry, half any class: pairs of pins are many.
  const Detection& entry(const Place& place) {
    if (heads()) return place.sure[one_of(place.sure.size())];
    const auto& of_class = place.by_class[one_of(place.by_class.size())];
    return place.sure[of_class[one_of(of_class.size())]];
  }

  std::string size_of(const Detection& one) {
    const FaultClass& kind = class_of(one);
    const bool negative = one.size < 0;
    const bool up = negative || !one.below;  // away from nought
    const double end = std::abs(one.below ? kind.least : kind.most);
    double size = std::abs(one.size);
    // The class may begin beyond the limit.
    size = up ? std::max(size, negative ? 0 : kind.least) : std::min(size, kind.most);
    if (share() >= kAtLimit) size = up ? between(size, end) : between(end, size);
    return (negative ? "-" : "") + outward(size, up);
  }

  std::string text_of(const Detection& one) {
    std::string out = one.part + ": " + one.fault;
    if (!one.other.empty()) out += " " + one.other;
    if (one.sized) out += " " + size_of(one);
    return out;
  }

  const FaultClass& bench_fault(const Place& place) {
    std::vector<const FaultClass*> all;
    for (const FaultClass& kind : simulated::fault_classes())
      if (kind.applies_to == "bench" && (place.full || !wants_drive(kind)) &&
          (place.means == Means::relays || !wants_relays(kind)))
        all.push_back(&kind);
    const FaultClass* out = all[one_of(all.size())];
    // Answers that are late cost wall time: few of them.
    if (out->name == "link-delay" && share() < 0.75) out = all[one_of(all.size())];
    return *out;
  }

  std::string text_of(const FaultClass& kind, std::size_t columns) {
    std::string out = "bench: " + std::string(kind.name);
    if (kind.name.starts_with("relay-")) {
      out += " " + std::to_string(1 + one_of(static_cast<std::size_t>(kRows))) + "!" +
             std::to_string(1 + one_of(columns));
    } else if (!kind.stated_size.empty() && kind.unit != Unit::none) {
      const auto known = kSpans.find(kind.name);
      const Span span = known != kSpans.end() ? known->second : Span{kind.least, kind.most};
      const std::string size = outward(between(span.least, span.most), false);
      out += (span.both && heads() ? " -" : " ") + size;
    }
    if (heads()) out += " from " + std::to_string(one_of(kMostBegin + 1));
    return out;
  }

 private:
  std::mt19937_64 random_;
};

std::string_view name_of(Stratum stratum) {
  switch (stratum) {
    case Stratum::good:
      return "good pack";
    case Stratum::one_fault:
      return "one pack fault";
    case Stratum::two_faults:
      return "two pack faults";
    case Stratum::bad_bench:
      return "bench fault, good pack";
    case Stratum::bad_bench_and_fault:
      return "bench fault, bad pack";
  }
  return "";
}

bool Case::by_chance() const {
  return !pack.empty() &&
         std::all_of(pack.begin(), pack.end(), [](const PackFault& f) { return f.by_chance; });
}

std::string Case::level() const {
  return setting.means == Means::hand ? "by hand" : setting.full ? "full" : "static";
}

std::string text_of(const Case& one) {
  std::string out =
      one.setting.profile->name + ", " + one.level() + ", pack " + std::to_string(one.setting.seed);
  for (const std::string& fault : one.setting.faults) out += "; " + fault;
  return out;
}

namespace {

// What the simulated bench tells of itself.
bench::Description description_of(const profile::Profile& profile, Means means) {
  simulated::SimulationOptions options;
  options.profile = profile;
  options.dialect_folder = pinproof::tests::source_dir() + "/drivers/dialects";
  options.bench_by = means == Means::hand ? "hand" : "matrix";
  simulated::SimulatedBench bench(options);
  bench.start();
  return bench::parse_description(bench.bench_file(), "bench.json");
}

std::vector<Detection> sure_on(const profile::Profile& profile, Means means, bool full) {
  const auto bench = description_of(profile, means);
  inspection::Capabilities can;
  can.tie = means == Means::relays;
  can.drive = full;
  can.lever = can.celsius = can.reference = can.high_reference = true;
  // Probes with sense leads of their own: four wires in every hand.
  return inspection::detection_limits(profile, can, bench.find("meter")->accuracy, true,
                                      bench.fixture.contact_u_ohm, bench.thermometer_u_K)
      .sure;
}

}  // namespace

Drawing::Drawing(std::uint64_t seed) : seed_(seed) {
  for (const char* name : {"six-speed-20-pin", "four-speed-13-pin"})
    profiles_.push_back(load(name));
  const profile::Profile *six = &profiles_[0], *four = &profiles_[1];
  places_ = {{six, Means::relays, true, 0.12, {}, {}},  {four, Means::relays, true, 0.22, {}, {}},
             {six, Means::relays, false, 0.20, {}, {}}, {four, Means::relays, false, 0.20, {}, {}},
             {six, Means::hand, false, 0.13, {}, {}},   {four, Means::hand, false, 0.13, {}, {}}};
  for (Place& place : places_) {
    place.sure = sure_on(*place.profile, place.means, place.full);
    std::map<const FaultClass*, std::vector<std::size_t>> classes;
    for (std::size_t k = 0; k < place.sure.size(); ++k) {
      const FaultClass& kind = class_of(place.sure[k]);
      classes[&kind].push_back(k);
    }
    for (auto& [kind, entries] : classes) place.by_class.push_back(std::move(entries));
  }
}

Case Drawing::operator()(std::size_t number) const {
  Hand hand(seed_, number);
  Case out;
  out.number = number;
  out.stratum = kStrata[hand.by_share(kShares)];
  std::vector<double> shares;
  for (const Place& place : places_) shares.push_back(place.share);
  const Place& place = places_[hand.by_share(shares)];
  out.setting = {place.profile, place.means, place.full, hand.seed(), {}};
  const bool bench =
      out.stratum == Stratum::bad_bench || out.stratum == Stratum::bad_bench_and_fault;
  const std::size_t faults =
      out.stratum == Stratum::two_faults                                                 ? 2
      : out.stratum == Stratum::one_fault || out.stratum == Stratum::bad_bench_and_fault ? 1
                                                                                         : 0;
  std::set<std::string> taken;
  while (out.pack.size() < faults) {
    const Detection& one = hand.entry(place);
    const auto on = touched(*place.profile, one, place.means);
    if (meet(on, taken)) continue;
    taken.insert(on.begin(), on.end());
    const std::string target = one.part.substr(0, one.part.find(' '));
    out.setting.faults.push_back(hand.text_of(one));
    out.pack.push_back({target + " " + one.fault,
                        target == "pack" ? "" : one.part.substr(target.size() + 1), one.by_chance});
  }
  if (bench) {
    const FaultClass& kind = hand.bench_fault(place);
    out.bench = kind.name;
    out.setting.faults.push_back(hand.text_of(kind, place.profile->connector.pins.size() + 5));
  }
  return out;
}

}  // namespace pinproof::campaign
