#include <cmath>

#include "quantity/error.h"
#include "quantity/text.h"
#include "scpi/instruments.h"

namespace pinproof::scpi {
namespace {

class ScpiActuator final : public bench::Actuator {
 public:
  ScpiActuator(Session session, bench::Fixture fixture)
      : session_(std::move(session)), fixture_(std::move(fixture)) {}

  void lever(std::size_t position, const std::string& name,
             const bench::Patience& patience) override {
    session_.command("position", {{"count", static_cast<double>(position)}}, patience);
    const Number at = session_.ask_number("position?", {}, patience);
    if (at.value != static_cast<double>(position))
      throw Error(Fault::bench, session_.name() + ": asked for lever position " + name + " (" +
                                    std::to_string(position) + "), it stands at " +
                                    exact(at.value));
  }

  void air(const std::vector<std::string>& elements, Pressure pressure,
           const bench::Patience& patience) override {
    const Dialect& d = session_.dialect();
    const bool same = known_ && !elements.empty() && elements == open_;
    known_ = false;
    std::vector<std::string> messages;
    if (!same) messages.push_back(d.render("shut_all_valves"));
    if (!elements.empty()) messages.push_back(d.render("pressure", {{"pascals", pressure.si()}}));
    if (!same && !elements.empty())
      messages.push_back(d.render("open_valve", {{"channels", valves(elements)}}));
    session_.command(messages, patience);
    open_ = elements, known_ = true;
    if (elements.empty()) return;
    const Number at = session_.ask_number("measure_pressure", {}, patience);
    if (!(std::abs(at.value - pressure.si()) <= 0.05 * pressure.si()))
      throw Error(Fault::bench, session_.name() + ": asked for " +
                                    format_si(pressure.si(), Unit::pascal) +
                                    " of air, it measures " + format_si(at.value, Unit::pascal));
  }
  std::optional<Pressure> measured(const bench::Patience& patience) override {
    const Number at = session_.ask_number("measure_pressure", {}, patience);
    if (at.overload || !std::isfinite(at.value))
      throw Error(Fault::bench, session_.name() + ": the pressure is beyond what it can measure");
    return Pressure{at.value};
  }

 private:
  std::vector<std::string> valves(const std::vector<std::string>& elements) const {
    std::vector<std::string> out;
    for (const std::string& element : elements) {
      const auto valve = fixture_.elements.find(element);
      if (valve == fixture_.elements.end())
        throw Error(
            Fault::bench,
            session_.name() + ": the fixture has no valve for the element \"" + element + "\"");
      out.push_back(valve->second);
    }
    return out;
  }

  Session session_;
  bench::Fixture fixture_;
  std::vector<std::string> open_;  // whose valves are open, where that is known
  bool known_ = false;
};

}  // namespace

const Driver kActuator{
    .role = "actuator",
    .needs = {"identify", "clear", "position", "position?", "pressure", "measure_pressure",
              "open_valve", "shut_all_valves"},
    .install = [](Session session, const bench::InstrumentDescription&,
                  const bench::Description& bench, bench::Instruments& instruments) {
      instruments.actuator = std::make_unique<ScpiActuator>(std::move(session), bench.fixture);
    }};

}  // namespace pinproof::scpi
