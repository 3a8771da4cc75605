// Feed, ground and other conductors of the pack: lost, corroded, or with few strands left.
#include "diagnosis/faults/common.h"

namespace pinproof::diagnosis {
namespace {

using network::Edit;
using network::When;

void add(const network::Model& model, std::vector<Suspect>& out) {
  for (const profile::Part& part : model.profile().parts) {
    if (!part.wire()) continue;
    const std::size_t element = model.elements_of(part.name).front();
    const bool ground = part.between[0] == model.profile().ground_pin ||
                        part.between[1] == model.profile().ground_pin;
    const std::string what = part.mate ? part.name : "the " + part.name;
    Suspect base;
    base.part = part.name, base.nodes = nodes_of(model, part);
    if (base.nodes.empty() || base.nodes[0] == base.nodes[1])
      base.nodes = {part.between[0], part.between[1]};
    Suspect open = base;
    open.kind = ground ? "lost-ground" : "wire-open";
    open.text = what + " is open" + or_its_pins(model, part);
    if (part.mate) open.text = part.name + " does not touch: bent, pushed back or missing";
    open.edits = {network::on(network::EditKind::become, element, network::kOpenCircuit_ohm)};
    open.rate = 2;
    out.push_back(open);
    Suspect corroded = base;
    corroded.kind = ground ? "high-resistance-ground" : "wire-resistance";
    corroded.text = what + " has resistance: corroded, loose or few strands left";
    corroded.edits = {network::on(network::EditKind::series, element)};
    corroded.size = {0.15, 1e4}, corroded.stated = {2}, corroded.rate = 2;
    out.push_back(corroded);
    Suspect film = corroded;
    film.kind = ground ? "ground-film" : "wire-film";
    film.text = what + " has a film at a terminal: gone under load";
    film.edits[0].when = When::small_current, film.rate = 0.5;
    out.push_back(film);
    Suspect heating = corroded;
    heating.kind = ground ? "heating-ground" : "heating-wire";
    heating.text = what + " gains resistance while current flows";
    heating.edits[0].when = When::load, heating.rate = 0.5;
    out.push_back(heating);
  }
}

}  // namespace

const SuspectKind kWireFaults{"wires", add};

}  // namespace pinproof::diagnosis
