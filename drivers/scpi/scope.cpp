// A scope-style digitiser: a time range over the screen, one waveform query a
// channel, samples as bytes or words with a preamble that scales them.
#include "scpi/scope.h"

#include <algorithm>
#include <cmath>

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::scpi {
namespace {

constexpr std::size_t kPreambleFields = 10;
constexpr Duration kPoll{0.01};

// format, type, points, count, x increment, x origin, x reference, y increment,
// y origin, y reference: the usual preamble of scopes that speak SCPI.
struct Preamble {
  double points = 0;
  Duration x_increment;
  double y_increment = 0, y_origin = 0, y_reference = 0;
};

class Scope final : public bench::Digitiser {
 public:
  Scope(Session session, const bench::Fixture& fixture)
      : session_(std::move(session)),
        probe_(number_of(fixture.probe_channel)),
        shunt_(number_of(fixture.shunt.channel)),
        supply_(number_of(fixture.supply_channel)) {}

  std::string name() const override { return session_.name(); }

  void arm(const bench::SweepSetup& setup, const bench::Patience& patience) override {
    const Dialect& d = session_.dialect();
    const Duration span = static_cast<double>(setup.points) * setup.interval;
    const Duration before = static_cast<double>(setup.pretrigger) * setup.interval;
    std::vector<std::string> messages{
        d.render("points", {{"count", static_cast<double>(setup.points)}}),
        d.render("time_range", {{"seconds", span.si()}}),
        // The trigger stands so far from the screen's middle.
        d.render("time_position", {{"seconds", (span / 2 - before).si()}}),
        d.render("range", {{"channel", probe_}, {"range", 2 * setup.probe_range.si()}}),
        d.render("range", {{"channel", shunt_}, {"range", 2 * setup.shunt_range.si()}}),
        d.render("range", {{"channel", supply_}, {"range", 2 * setup.supply_range.si()}}),
        d.render("trigger_source", {{"channel", supply_}, {"word", "CHAN" + exact(supply_)}}),
        d.render("trigger_level", {{"volts", kTriggerLevel_V}}), d.render("format")};
    session_.command(messages, patience);
    setup_ = setup;
    session_.start("arm", patience);
  }

  bench::Sweep fetch(const bench::Patience& patience) override {
    await_done(patience);
    bench::Sweep out;
    out.probe_V = channel(probe_, out.interval, patience);
    out.shunt_V = channel(shunt_, out.interval, patience);
    out.supply_V = channel(supply_, out.interval, patience);
    return out;
  }

 private:
  double number_of(const std::string& channel) const {
    const auto number = parse_number(channel);
    if (!number || *number < 1 || *number > 64 || *number != std::floor(*number))
      throw Error(Fault::usage, session_.name() + ": channel \"" + channel +
                                    "\": a scope's channels are numbers from 1");
    return *number;
  }

  void await_done(const bench::Patience& patience) {
    if (!session_.dialect().has("sweep_state?")) return;
    Duration waited;
    while (session_.ask("sweep_state?", {}, patience) != session_.dialect().sweep_done()) {
      waited += kPoll;
      if (waited > patience.limit())
        throw Error(Fault::timeout, session_.name() + ": the sweep was not triggered");
      bench::pause(kPoll, patience);
    }
  }

  Preamble preamble(const bench::Patience& patience) {
    const std::string reply = session_.ask("preamble?", {}, patience);
    std::vector<double> fields;
    std::string_view rest = reply;
    while (true) {
      const auto comma = rest.find(',');
      const auto number = parse_number(rest.substr(0, comma));
      if (!number) break;
      fields.push_back(*number);
      if (comma == std::string_view::npos) break;
      rest.remove_prefix(comma + 1);
    }
    if (fields.size() != kPreambleFields || !(fields[4] > 0) || !(fields[7] > 0))
      throw Error(Fault::bad_reply, session_.name() + ": the preamble is not ten numbers: \"" +
                                        reply.substr(0, 80) + "\"");
    return {fields[2], Duration{fields[4]}, fields[7], fields[8], fields[9]};
  }

  std::vector<double> channel(double which, Duration& interval, const bench::Patience& patience) {
    session_.command("waveform_source", {{"channel", which}, {"word", "CHAN" + exact(which)}},
                     patience);
    const Preamble p = preamble(patience);
    if (!(abs(p.x_increment - setup_.interval) <= 0.5 * setup_.interval))
      throw Error(Fault::bench, session_.name() + ": asked for a sample every " +
                                    std::to_string(setup_.interval.si()) + " s, it sampled every " +
                                    std::to_string(p.x_increment.si()) + " s");
    interval = p.x_increment;
    const std::string bytes = session_.ask_block("waveform", {}, setup_.points, patience);
    std::vector<double> out;
    out.reserve(bytes.size());
    for (const char c : bytes) {
      const double code = static_cast<unsigned char>(c);
      // The ends of the converter mean beyond the range, as far as anyone can tell.
      out.push_back((code - p.y_reference) * p.y_increment + p.y_origin);
    }
    expect_samples(session_, exact(which), out, setup_.points);
    return out;
  }

  Session session_;
  double probe_, shunt_, supply_;
  bench::SweepSetup setup_;
};

}  // namespace

std::unique_ptr<bench::Digitiser> make_scope(Session session, const bench::Fixture& fixture) {
  return std::make_unique<Scope>(std::move(session), fixture);
}

}  // namespace pinproof::scpi
