#include <cmath>

#include "quantity/error.h"
#include "quantity/text.h"
#include "scpi/instruments.h"

namespace pinproof::scpi {
namespace {

// Beyond a pulse before the guardian steps in: an instrument's own delay.
constexpr Duration kGuardSlack{0.05};

class ScpiSupply final : public bench::Supply {
 public:
  ScpiSupply(Session session, Voltage most, Current most_limit, int output)
      : session_(std::move(session)), most_(most), most_limit_(most_limit), output_(output) {}

  // Whatever happened before, nobody leaves with the output on.
  ~ScpiSupply() override {
    try {
      if (touched_) off();
    } catch (const Error&) {  // off() already tried twice; a destructor has nobody to tell
    }
  }

  std::string name() const override { return session_.name(); }
  bool times_pulses() const override { return session_.dialect().has("pulse"); }

  void set(Voltage voltage, Current limit, const bench::Patience& patience) override {
    expect_at_most(voltage.si(), most_.si(), Unit::volt);
    expect_at_most(limit.si(), most_limit_.si(), Unit::ampere);
    touched_ = true;
    const Dialect& d = session_.dialect();
    std::vector<std::string> messages = selected();
    messages.push_back(d.render("current", {{"amperes", limit.si()}}));
    messages.push_back(d.render("voltage", {{"volts", voltage.si()}}));
    session_.command(messages, patience);
    confirm("current?", limit.si(), Unit::ampere, patience);
    confirm("voltage?", voltage.si(), Unit::volt, patience);
  }

  void pulse(Duration width, const bench::Patience& patience) override {
    touched_ = true;
    if (times_pulses())
      pulse_by_instrument(width, patience);
    else
      pulse_by_clock(width, patience);
  }

  void off() override {
    try {
      switch_off();
    } catch (const Error&) {
      session_.close();  // a fresh link; the old one may hold a late reply
      switch_off();
    }
    touched_ = false;
  }

 private:
  // The instrument ends the pulse; the guardian only has to notice a conversation
  // that never comes to its end.
  void pulse_by_instrument(Duration width, const bench::Patience& patience) {
    session_.link().guard(width + patience.limit());
    session_.command("pulse_width", {{"seconds", width.si()}}, patience);
    confirm("pulse_width?", width.si(), Unit::second, patience);
    session_.command("pulse", {}, patience);
    session_.link().guard(Duration{0});
  }

  // As long as this computer's clock and the instrument's delay make it. The
  // guardian sees to the upper end.
  void pulse_by_clock(Duration width, const bench::Patience& patience) {
    session_.link().guard(width + kGuardSlack);
    session_.send_now(switched(true), patience);
    session_.link().hold(width, patience);
    session_.send_now(switched(false), bench::Patience{Duration{2.0}});
    session_.link().guard(Duration{0});
    switch_off();
  }

  std::vector<std::string> selected() const {
    std::vector<std::string> out;
    if (output_ > 0)
      out.push_back(session_.dialect().render("select", {{"channel", double(output_)}}));
    return out;
  }

  std::vector<std::string> switched(bool on) const {
    auto out = selected();
    out.push_back(session_.dialect().render("output", {{"switch", on ? 1.0 : 0.0}}));
    return out;
  }

  // A patience of its own without the stop token: a stop is the very reason to be here.
  void switch_off() {
    const bench::Patience patience{Duration{2.0}};
    session_.send_now(switched(false), patience);
    const std::string state = session_.ask("output?", {}, patience);
    if (state != "0" && state != "OFF")
      throw Error(Fault::bench,
                  session_.name() + ": output is not off: it says \"" + state.substr(0, 20) + "\"");
    session_.command("clear", {}, patience);
  }

  void expect_at_most(double value, double most, Unit unit) const {
    if (!(value > 0 && value <= most))
      throw Error(Fault::bench, session_.name() + ": " + format_si(value, unit) +
                                    " was asked of a supply that gives up to " +
                                    format_si(most, unit));
  }

  void confirm(std::string_view query, double wanted, Unit unit, const bench::Patience& patience) {
    const Number said = session_.ask_number(query, {}, patience);
    if (!(std::abs(said.value - wanted) <= 0.005 * wanted + 1e-6))
      throw Error(Fault::bench, session_.name() + ": set to " + format_si(wanted, unit) +
                                    ", it says " + format_si(said.value, unit) +
                                    ": not confirmed, nothing is switched on");
  }

  Session session_;
  Voltage most_;
  Current most_limit_;
  int output_;
  bool touched_ = false;
};

}  // namespace

const Driver kSupply{
    .role = "supply",
    .needs = {"identify", "clear", "voltage", "voltage?", "current", "current?", "output",
              "output?"},
    .install = [](Session session, const bench::InstrumentDescription& instrument,
                  const bench::Description&, bench::Instruments& instruments) {
      if (instrument.channel > 0 && !session.dialect().has("select"))
        throw Error(Fault::usage, session.name() + ": the dialect " + session.dialect().name() +
                                      " cannot select an output; \"channel\" does not belong here");
      instruments.supply =
          std::make_unique<ScpiSupply>(std::move(session), Voltage{instrument.max_voltage_V},
                                       Current{instrument.max_current_A}, instrument.channel);
    }};

}  // namespace pinproof::scpi
