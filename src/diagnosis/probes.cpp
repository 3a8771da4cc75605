#include "diagnosis/probes.h"

#include <algorithm>

#include "network/reach.h"
#include "profile/harness.h"

namespace pinproof::diagnosis {
namespace {

struct CoilLeads {
  std::size_t high, low;
};

// Coils that end at two terminals, by wires at most.
std::vector<CoilLeads> coils_of(const network::Model& model) {
  std::vector<CoilLeads> out;
  for (const auto& part : model.profile().parts) {
    if (!part.coil()) continue;
    if (const auto leads = network::leads_of(model.profile(), part))
      out.push_back({*model.find(leads->from), *model.find(leads->to)});
  }
  return out;
}

bool usable(const network::Model& model, std::size_t terminal, const network::Situation& here) {
  return model.settled(terminal, here) && model.reachable(terminal, here);
}

// Unplugged, nobody reads from the harness to the pack.
bool same_piece(const network::Model& model, std::size_t a, std::size_t b,
                const network::Situation& here) {
  const auto in_pack = [&](std::size_t t) {
    return profile::side_of(model.profile(), model.name(t)) == profile::Side::pack;
  };
  return model.profile().harness_pins == 0 || here.plugged || in_pack(a) == in_pack(b);
}

void add_pairs(const Scene& scene, std::vector<Probe>& out) {
  const network::Model& model = scene.model();
  for (std::size_t s = 0; s < scene.situations().size(); ++s)
    for (std::size_t a = 0; a < model.terminals(); ++a)
      for (std::size_t b = a + 1; b < model.terminals(); ++b)
        if (usable(model, a, scene.situations()[s]) && usable(model, b, scene.situations()[s]) &&
            same_piece(model, a, b, scene.situations()[s]))
          out.push_back({ProbeKind::ohm, network::between(a, b), s});
}

// Where every circuit has a number, the halves by each binary digit part any two of them once: so
// few readings prove that none touches another.
void add_tied(Scene& scene, std::vector<Probe>& out) {
  const network::Model& model = scene.model();
  const std::size_t plain = scene.situations().size();
  for (std::size_t s = 0; s < plain; ++s) {
    const network::Situation here = scene.situations()[s];
    std::vector<std::vector<std::size_t>> circuits;
    for (const auto& circuit : network::circuits(model.profile(), here.state)) {
      circuits.emplace_back();
      for (const std::string& node : circuit) circuits.back().push_back(*model.find(node));
    }
    const auto add = [&](auto is_high) {
      network::Situation tied = here;
      tied.tied.resize(2);
      for (std::size_t c = 0; c < circuits.size(); ++c) {
        auto& side = tied.tied[is_high(c) ? 0 : 1];
        side.insert(side.end(), circuits[c].begin(), circuits[c].end());
      }
      if (tied.tied[0].empty() || tied.tied[1].empty()) return;
      const std::size_t high = tied.tied[0].front(), low = tied.tied[1].front();
      out.push_back({ProbeKind::ohm, network::between(high, low), scene.situation(tied)});
    };
    for (std::size_t digit = 0; (std::size_t{1} << digit) < circuits.size(); ++digit)
      add([&](std::size_t c) { return ((c >> digit) & 1) != 0; });
    for (std::size_t alone = 0; alone < circuits.size(); ++alone)
      add([&](std::size_t c) { return c == alone; });
  }
}

// A leak along the coils shows by the share of the voltage that it carries out: at every terminal,
// in the first situation where it stands apart from the coil.
void add_fractions(const Scene& scene, const std::vector<CoilLeads>& coils, bool lever,
                   std::vector<Probe>& out) {
  const network::Model& model = scene.model();
  for (const CoilLeads& coil : coils)
    for (std::size_t c = 0; c < model.terminals(); ++c)
      for (std::size_t s = 0; s < scene.situations().size(); ++s) {
        const auto& here = scene.situations()[s];
        if (!here.tied.empty() || !model.settled(c, here) ||
            (!lever && here.state != scene.situations().front().state) ||
            scene.good(s).resistances(coil.high, c) < scene.open_ohm())
          continue;
        out.push_back({ProbeKind::fraction, {coil.high, coil.low, c, coil.low}, s});
        break;
      }
}

// The coil's own circuit, and what of it is common: the far end of a coil without current
// is a lead to the inside.
void add_drops(Scene& scene, const std::vector<CoilLeads>& coils, std::vector<Probe>& out) {
  network::Situation loaded = scene.situations().front();
  loaded.stress = network::Stress::load;
  const std::size_t s = scene.situation(loaded);
  for (const CoilLeads& coil : coils)
    out.push_back({ProbeKind::drop, network::between(coil.high, coil.low), s});
  for (const CoilLeads& coil : coils)
    for (const CoilLeads& other : coils)
      if (&other != &coil && other.high == coil.high && other.low != coil.low)
        out.push_back({ProbeKind::drop, {coil.high, coil.low, coil.high, other.low}, s});
  const network::Model& model = scene.model();
  const auto ground = model.find(model.profile().ground_pin);
  const auto body = model.find(profile::kCase);
  if (!ground || !body) return;
  out.push_back({ProbeKind::drop, network::between(*ground, *body), s});
  // Coils that end at the case return through the ground: what it lifts the case by.
  for (const CoilLeads& coil : coils)
    if (coil.low == *body)
      out.push_back({ProbeKind::drop, {coil.high, *ground, *body, *ground}, s});
}

// After a heat soak: insulation that fails only then. Windings warm by an unknown amount, so only
// what should be open is read.
void add_hot(Scene& scene, const std::vector<CoilLeads>& coils, bool source,
             std::vector<Probe>& out) {
  network::Situation hot = scene.situations().front();
  hot.hot = true;
  const std::size_t s = scene.situation(hot);
  const network::Model& model = scene.model();
  const std::size_t body = *model.find(profile::kCase);
  for (const CoilLeads& coil : coils)
    for (const std::size_t end : {coil.high, coil.low}) {
      const Probe probe{ProbeKind::ohm, network::between(end, body), s};
      if (end != body && scene.good(s).resistances(end, body) > scene.open_ohm() &&
          std::find(out.begin(), out.end(), probe) == out.end())
        out.push_back(probe);
    }
  for (const CoilLeads& coil : coils)  // which winding it is
    if (source && scene.good(s).resistances(coil.high, body) > scene.open_ohm())
      out.push_back({ProbeKind::fraction, {coil.high, coil.low, body, coil.low}, s});
}

}  // namespace

std::vector<Probe> probes_of(Scene& scene, const Means& means) {
  std::vector<Probe> out;
  add_pairs(scene, out);
  if (means.tie) add_tied(scene, out);
  if (!means.lever)
    std::erase_if(out, [&](const Probe& p) {
      return scene.situations()[p.situation].state != scene.situations()[0].state;
    });
  const auto coils = coils_of(scene.model());
  if (means.soak) add_hot(scene, coils, means.source, out);
  if (!means.source) return out;
  add_fractions(scene, coils, means.lever, out);
  add_drops(scene, coils, out);
  return out;
}

double cost_of(const Scene& scene, std::size_t from, const Probe& to, const Effort& effort) {
  double out = to.kind == ProbeKind::ohm ? effort.probing : effort.drive;
  const auto& there = scene.situations()[to.situation];
  const network::PackState here =
      from < scene.situations().size() ? scene.situations()[from].state : network::PackState{};
  if (here.lever != there.state.lever) out += effort.lever;
  if (here.applied != there.state.applied) out += effort.air;
  const bool hot = from < scene.situations().size() && scene.situations()[from].hot;
  if (there.hot != hot) out += effort.soak;  // or as long to cool
  if (from < scene.situations().size() && scene.situations()[from].plugged != there.plugged)
    out += effort.plug;
  return out;
}

std::string situation_text(const profile::Profile& profile, const network::Situation& situation) {
  std::string out;
  const auto add = [&](const std::string& words) { out += (out.empty() ? "" : ", ") + words; };
  if (profile.lever && situation.state.lever)
    add("lever " + profile.lever->positions[*situation.state.lever].name);
  std::string air;
  for (const std::string& element : situation.state.applied)
    air += (air.empty() ? "air at " : " ") + element;
  if (!air.empty()) add(air);
  if (situation.stress == network::Stress::load) add("under load");
  if (situation.hot) add("hot");
  if (profile.harness_pins > 0) add(situation.plugged ? "plugged in" : "unplugged");
  return out.empty() ? "at rest" : out;
}

std::string text_of(const Scene& scene, const Probe& probe) {
  const auto& tied = scene.situations()[probe.situation].tied;
  const auto name = [&](std::size_t node) {
    std::string out;
    for (const auto& group : tied)
      if (group.front() == node)
        for (const std::size_t one : group)
          out += (out.empty() ? "" : "+") + scene.model().name(one);
    return out.empty() ? scene.model().name(node) : out;
  };
  const auto& [a, b, c, d] = probe.sight;
  std::string out = name(c) + " to " + name(d);
  if (probe.kind == ProbeKind::fraction || (probe.kind == ProbeKind::drop && (c != a || d != b)))
    out += " with current from " + name(a) + " to " + name(b);
  return out + ", " + situation_text(scene.model().profile(), scene.situations()[probe.situation]);
}

}  // namespace pinproof::diagnosis
