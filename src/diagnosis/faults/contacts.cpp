// Pressure switches and lever contacts: stuck, burnt, with a wrong series resistor.
#include "diagnosis/faults/common.h"

namespace pinproof::diagnosis {
namespace {

using network::Edit;

void add(const network::Model& model, std::vector<Suspect>& out) {
  for (const profile::Part& part : model.profile().parts) {
    if (!part.contact() && !part.pressure_switch()) continue;
    const std::string what = (part.contact() ? "contact " : "switch ") + part.name;
    const auto& series =
        part.contact() ? part.contact()->series_ohm : part.pressure_switch()->series_ohm;
    const std::size_t element = model.elements_of(part.name).front();
    Suspect base;
    base.part = part.name, base.nodes = nodes_of(model, part);
    Suspect closed = base;
    closed.kind = "stuck-closed";
    closed.text = what + " does not open";
    if (!series) closed.text += ", or " + pins_text(base.nodes) + " are bridged";
    closed.edits = {network::on(network::EditKind::shut, element)};
    const double most =
        part.contact() ? part.contact()->closed_ohm : part.pressure_switch()->closed_ohm;
    closed.size = series ? Interval{series->low, series->high + most} : Interval{0.01, kLeak_ohm};
    closed.stated = {model.elements()[element].ohm};
    closed.rate = 2;
    out.push_back(closed);
    Suspect open = base;
    open.kind = "stuck-open";
    open.text = what + " does not close" + or_its_pins(model, part);
    open.edits = {network::on(network::EditKind::become, element, network::kOpenCircuit_ohm)};
    open.rate = 2;
    out.push_back(open);
    Suspect burnt = base;
    burnt.kind = "contact-resistance", burnt.text = what + " is burnt or dirty";
    burnt.edits = {network::on(network::EditKind::series, element)};
    // Beside a series resistor less than its tolerance is no fault.
    burnt.size = {std::max(most, series ? series->width() : 0.0), 1e4},
    burnt.stated = {std::max(30.0, 0.4 * model.elements()[element].ohm)};
    burnt.rate = 2;
    out.push_back(burnt);
    if (!series) continue;
    Suspect shorted = base;
    shorted.kind = "series-shorted", shorted.text = what + ": its series resistor is bypassed";
    shorted.edits = {network::on(network::EditKind::become, element)};
    shorted.size = {0.01, 0.7 * series->low}, shorted.stated = {0.5}, shorted.rate = 0.5;
    out.push_back(shorted);
  }
}

}  // namespace

const SuspectKind kContactFaults{"contacts", add};

}  // namespace pinproof::diagnosis
