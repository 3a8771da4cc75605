#include <algorithm>

#include "quantity/error.h"
#include "scpi/instruments.h"

namespace pinproof::scpi {
namespace {

class ScpiMatrix final : public bench::Paths {
 public:
  ScpiMatrix(Session session, bench::Fixture fixture)
      : session_(std::move(session)), fixture_(std::move(fixture)) {}

  bool can_tie() const override { return true; }
  bool can_drive() const override {
    return fixture_.rows.contains("drive_high") && fixture_.rows.contains("drive_low") &&
           fixture_.rows.contains("probe_high") && fixture_.rows.contains("probe_low");
  }

  void connect_meter(const bench::Connection& to, bool sense, Resistance,
                     const bench::Patience& patience) override {
    std::vector<std::string> channels;
    add(channels, "force_high", to.high);
    add(channels, "force_low", to.low);
    if (sense) {
      add(channels, "sense_high", to.high);
      add(channels, "sense_low", to.low);
    }
    close_only(std::move(channels), patience);
  }

  void connect_drive(const bench::Connection& drive, const bench::Connection& probe,
                     const bench::Patience& patience) override {
    std::vector<std::string> channels;
    add(channels, "drive_high", drive.high);
    add(channels, "drive_low", drive.low);
    add(channels, "probe_high", probe.high);
    add(channels, "probe_low", probe.low);
    close_only(std::move(channels), patience);
  }

  void connect_rows(const bench::Rows& rows, const bench::Patience& patience) override {
    std::vector<std::string> channels;
    for (const auto& [row, nodes] : rows) add(channels, row, nodes);
    close_only(std::move(channels), patience);
  }

  bool still_connected(const bench::Patience& patience) override {
    if (closed_.empty() || !session_.dialect().has("closed?")) return true;
    return session_.ask("closed?", {{"channels", closed_}}, patience) == all_closed(closed_);
  }

  void open_all(const bench::Patience& patience) override {
    closed_.clear();
    known_ = false;
    session_.command("open_all", {}, patience);
    known_ = true;
  }

 private:
  void add(std::vector<std::string>& channels, const std::string& row,
           const std::vector<std::string>& nodes) const {
    const auto r = fixture_.rows.find(row);
    if (r == fixture_.rows.end())
      throw Error(Fault::bench, session_.name() + ": the fixture has no row \"" + row + "\"");
    for (const std::string& node : nodes) {
      const auto c = fixture_.columns.find(node);
      if (c == fixture_.columns.end())
        throw Error(Fault::bench,
                    session_.name() + ": the fixture has no column for \"" + node + "\"");
      channels.push_back(session_.dialect().channel(r->second, c->second));
    }
  }

  // Breaks before it makes, then has the instrument say which are closed: a
  // relay that was never told to close would otherwise read as an open circuit.
  void close_only(std::vector<std::string> channels, const bench::Patience& patience) {
    if (known_ && channels == closed_) return;
    known_ = false;
    std::vector<std::string> messages{session_.dialect().render("open_all")};
    if (!channels.empty())
      messages.push_back(session_.dialect().render("close", {{"channels", channels}}));
    session_.command(messages, patience);
    if (!channels.empty() && session_.dialect().has("closed?")) expect_closed(channels, patience);
    closed_ = std::move(channels);
    known_ = true;
  }

  static std::string all_closed(const std::vector<std::string>& channels) {
    std::string out;
    for (std::size_t i = 0; i < channels.size(); ++i) out += i == 0 ? "1" : ",1";
    return out;
  }

  void expect_closed(const std::vector<std::string>& channels, const bench::Patience& patience) {
    const std::string reply = session_.ask("closed?", {{"channels", channels}}, patience);
    const std::string wanted = all_closed(channels);
    if (reply != wanted)
      throw Error(Fault::bench, session_.name() + ": asked to close " +
                                    std::to_string(channels.size()) + " relays, it says " +
                                    reply.substr(0, 60) + "; " + wanted + " is wanted");
  }

  Session session_;
  bench::Fixture fixture_;
  std::vector<std::string> closed_;
  bool known_ = false;
};

}  // namespace

const Driver kMatrix{
    .role = "matrix",
    .needs = {"identify", "clear", "close", "open_all"},
    .install = [](Session session, const bench::InstrumentDescription&,
                  const bench::Description& bench, bench::Instruments& instruments) {
      instruments.paths = std::make_unique<ScpiMatrix>(std::move(session), bench.fixture);
    }};

}  // namespace pinproof::scpi
