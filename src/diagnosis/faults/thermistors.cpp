#include "diagnosis/faults/common.h"

namespace pinproof::diagnosis {
namespace {

using network::Edit;

void add(const network::Model& model, std::vector<Suspect>& out) {
  for (const profile::Part& part : model.profile().parts) {
    if (!part.thermistor()) continue;
    const std::size_t element = model.elements_of(part.name).front();
    Suspect base;
    base.part = part.name, base.nodes = nodes_of(model, part);
    Suspect open = base;
    open.kind = "thermistor-open";
    open.text = "the " + part.name + " is open" + or_its_pins(model, part);
    open.edits = {network::on(network::EditKind::become, element, network::kOpenCircuit_ohm)};
    open.rate = 1;
    out.push_back(open);
    Suspect shorted = base;
    shorted.kind = "thermistor-shorted";
    shorted.text = "the " + part.name + " is shorted, or " + pins_text(base.nodes) + " are bridged";
    shorted.edits = {network::on(network::EditKind::become, element)};
    shorted.size = {0.01, 30}, shorted.stated = {0.1}, shorted.rate = 0.7;
    out.push_back(shorted);
    for (const auto& [low, high, stated] : {std::tuple{0.02, 0.8, 0.6}, {1.25, 50.0, 1.6}}) {
      Suspect drift = base;
      drift.kind = "thermistor-drift";
      drift.text = "the " + part.name + (high < 1 ? " reads warm" : " reads cold");
      drift.edits = {network::on(network::EditKind::factor, element)};
      drift.size = {low, high}, drift.stated = {stated}, drift.rate = 0.5;
      out.push_back(drift);
    }
  }
}

}  // namespace

const SuspectKind kThermistorFaults{"thermistors", add};

}  // namespace pinproof::diagnosis
