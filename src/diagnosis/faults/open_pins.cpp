// A pin or its wire open where several parts share it. Where one part has the pin to
// itself, that part's own open says so.
#include "diagnosis/faults/common.h"

namespace pinproof::diagnosis {
namespace {

void add(const network::Model& model, std::vector<Suspect>& out) {
  for (const auto& pin : model.profile().connector.pins) {
    const auto own = model.elements_of("pin " + pin.number);
    if (own.empty()) continue;
    Suspect s;
    s.kind = "pin-open", s.part = pin.number, s.nodes = {pin.number};
    s.text = "pin " + pin.number + " or its wire is open";
    s.edits = {network::on(network::EditKind::become, own.front(), network::kOpenCircuit_ohm)};
    s.rate = 1.5;
    out.push_back(std::move(s));
  }
}

}  // namespace

const SuspectKind kOpenPins{"open pins", add};

}  // namespace pinproof::diagnosis
