// Windings: open, shorted, turns, joints, films, leaks to the case from within.
#include "diagnosis/faults/common.h"

namespace pinproof::diagnosis {
namespace {

using network::Edit;
using network::When;

constexpr double kOpen = network::kOpenCircuit_ohm;

void add_resistances(const std::string& name, std::size_t half, const Suspect& base,
                     std::vector<Suspect>& out) {
  Suspect joint = base;
  joint.kind = "coil-joint", joint.text = "coil " + name + " has a bad joint in series";
  joint.edits = {network::on(network::EditKind::series, half)};
  joint.size = {0.3, 3e3}, joint.stated = {10}, joint.rate = 2;
  out.push_back(joint);
  Suspect film = joint;
  film.kind = "coil-film";
  film.text = "coil " + name + " has a film on a contact in series: gone under load";
  film.edits[0].when = When::small_current, film.stated = {20}, film.rate = 0.7;
  out.push_back(film);
  Suspect heating = joint;
  heating.kind = "coil-heating-joint";
  heating.text = "coil " + name + " has a joint that grows under load";
  heating.edits[0].when = When::load, heating.stated = {10}, heating.rate = 0.5;
  out.push_back(heating);
}

void add(const network::Model& model, std::vector<Suspect>& out) {
  for (const profile::Part& part : model.profile().parts) {
    if (!part.coil()) continue;
    const auto halves = model.elements_of(part.name);
    const auto& first = model.elements()[halves[0]];
    const auto& second = model.elements()[halves[1]];
    Suspect base;
    base.part = part.name, base.nodes = nodes_of(model, part);
    Suspect open = base;
    open.kind = "coil-open";
    open.text = "coil " + part.name + " is open" + or_its_pins(model, part);
    open.edits = {network::on(network::EditKind::become, halves[0], kOpen)};
    open.rate = 3;
    out.push_back(open);
    Suspect shorted = base;
    shorted.kind = "coil-shorted", shorted.text = "coil " + part.name + " is shorted end to end";
    shorted.edits = {network::bridge(first.a, second.b)};
    shorted.size = {0.01, 0.2 * (first.ohm + second.ohm)}, shorted.stated = {0.1};
    out.push_back(shorted);
    Suspect turns = base;
    turns.kind = "shorted-turns", turns.text = "coil " + part.name + " has shorted turns";
    turns.edits = {network::on(network::EditKind::share, halves[0])};
    turns.size = {0.03, 0.49}, turns.stated = {0.4}, turns.rate = 2;
    out.push_back(turns);
    add_resistances(part.name, halves[0], base, out);
    if (part.between[0] == profile::kCase || part.between[1] == profile::kCase) continue;
    Suspect leak = base;
    leak.kind = "winding-to-case";
    leak.text = "the winding of coil " + part.name + " touches or leaks to the case";
    leak.nodes.emplace_back(profile::kCase);
    leak.edits = {network::bridge(first.b, *model.find(profile::kCase))};
    leak.size = kBridgeSizes, leak.stated = {1, 50e3}, leak.rate = 1;
    out.push_back(leak);
    Suspect hot = leak;
    hot.kind = "hot-insulation";
    hot.text = "the winding of coil " + part.name + " leaks to the case when it is hot";
    hot.edits[0].when = When::hot;
    hot.size = {1e3, 1e7}, hot.stated = {300e3}, hot.rate = 0.5;
    out.push_back(hot);
  }
}

}  // namespace

const SuspectKind kCoilFaults{"coils", add};

}  // namespace pinproof::diagnosis
