// Water or conducting fluid in the connector: every neighbour leaks to the next.
#include "diagnosis/faults/common.h"

namespace pinproof::diagnosis {
namespace {

void add(const network::Model& model, std::vector<Suspect>& out) {
  Suspect s;
  s.kind = "contaminated-connector";
  s.part = "connector";
  s.text = "water or conducting dirt in the connector: neighbouring pins leak into each other";
  for (const auto& row : model.profile().connector.face)
    for (std::size_t i = 1; i < row.size(); ++i) {
      const auto a = model.find(row[i - 1]), b = model.find(row[i]);
      if (a && b) s.edits.push_back(network::bridge(*a, *b));
    }
  if (s.edits.empty()) return;
  for (const auto& pin : model.profile().connector.pins) s.nodes.push_back(pin.number);
  s.size = {1e3, 5e6}, s.stated = {200e3}, s.rate = 1;
  out.push_back(std::move(s));
}

}  // namespace

const SuspectKind kWater{"water", add};

}  // namespace pinproof::diagnosis
