#include "diagnosis/observe.h"

#include <algorithm>
#include <cmath>

#include "quantity/error.h"

namespace pinproof::diagnosis {
namespace {

using profile::Profile;

class ObservationReader {
 public:
  ObservationReader(Scene& scene, const record::WrittenReading& written, const std::string& file)
      : scene_(scene), written_(written), file_(file) {}

  Observation all() {
    const auto from = nodes(written_.from), to = nodes(written_.to);
    network::Situation situation = where();
    for (const auto* side : {&from, &to})
      if (side->size() > 1) situation.tied.push_back(*side);
    for (const std::size_t node : from)
      if (std::find(to.begin(), to.end(), node) != to.end())
        refuse("\"" + scene_.model().name(node) + "\" is on both sides");
    Observation out;
    out.probe.sight = network::between(from.front(), to.front());
    if (!written_.drive.empty()) {
      const auto drive = nodes(written_.drive);
      out.probe.kind = written_.share ? ProbeKind::fraction : ProbeKind::drop;
      out.probe.sight = {drive[0], drive[1], from.front(), to.front()};
      if (!written_.share) situation.stress = network::Stress::load;
    }
    out.probe.situation = scene_.situation(situation);
    out.ohm = written_.share.value_or(written_.ohm);
    out.u = written_.share ? 0.01 : written_.u_ohm;
    out.range_end = written_.range_ohm;
    for (const std::size_t node : {out.probe.sight.c, out.probe.sight.d})
      if (!scene_.model().reachable(node, situation))
        refuse("\"" + scene_.model().name(node) + "\" cannot be reached while all is plugged in");
    return out;
  }

 private:
  [[noreturn]] void refuse(const std::string& what) const {
    throw Error(Fault::usage, file_ + ": " + written_.pointer + ": " + what);
  }

  std::vector<std::size_t> nodes(const std::vector<std::string>& names) const {
    std::vector<std::size_t> out;
    for (const std::string& name : names) {
      const auto node = scene_.model().find(name);
      if (!node || *node >= scene_.model().terminals())
        refuse("\"" + name + "\" is neither a pin of this profile nor \"case\"");
      out.push_back(*node);
    }
    return out;
  }

  network::Situation where() const {
    const Profile& profile = scene_.model().profile();
    network::Situation out;
    if (profile.lever) out.state.lever = 0;
    if (!written_.condition.lever.empty()) {
      if (!profile.lever) refuse("this profile has no lever");
      const auto& positions = profile.lever->positions;
      const auto it = std::find_if(positions.begin(), positions.end(), [&](const auto& p) {
        return p.name == written_.condition.lever;
      });
      if (it == positions.end())
        refuse("lever \"" + written_.condition.lever + "\" is no position of this profile");
      out.state.lever = static_cast<std::size_t>(it - positions.begin());
    }
    for (const std::string& element : written_.condition.applied) {
      const bool known = std::any_of(profile.parts.begin(), profile.parts.end(), [&](auto& p) {
        return p.pressure_switch() && p.pressure_switch()->element == element;
      });
      if (!known) refuse("no pressure switch answers to element \"" + element + "\"");
      out.state.applied.push_back(element);
    }
    std::sort(out.state.applied.begin(), out.state.applied.end());
    if (written_.condition.plugged && profile.harness_pins == 0)
      refuse("\"plugged\" needs a harness (--harness)");
    out.plugged = written_.condition.plugged, out.hot = written_.condition.hot;
    return out;
  }

  Scene& scene_;
  const record::WrittenReading& written_;
  const std::string& file_;
};

}  // namespace

Observation observe(Scene& scene, const record::WrittenReading& written, const std::string& file) {
  return ObservationReader(scene, written, file).all();
}

std::vector<Observation> observe(Scene& scene, const record::WrittenReadings& written,
                                 const std::string& file) {
  std::vector<Observation> out;
  for (const auto& one : written.readings)
    if (!one.held) out.push_back(observe(scene, one, file));
  return out;
}

}  // namespace pinproof::diagnosis
