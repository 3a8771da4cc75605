#include "link/dialogue.h"

#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::link {
namespace {

class RecordingLink final : public Link {
 public:
  RecordingLink(const std::string& role, std::unique_ptr<Link> link, bench::JournalWriter& journal)
      : who_(role + " " + link->address()), link_(std::move(link)), journal_(journal) {}

  const std::string& address() const override { return link_->address(); }
  void write(std::string_view message, const bench::Patience& patience) override {
    keep("write", std::string(message), [&] {
      link_->write(message, patience);
      return "";
    });
  }
  std::string read_line(std::size_t at_most, const bench::Patience& patience) override {
    return keep("read line", "", [&] { return link_->read_line(at_most, patience); });
  }
  std::string read_exactly(std::size_t count, const bench::Patience& patience) override {
    return keep("read bytes", std::to_string(count),
                [&] { return link_->read_exactly(count, patience); });
  }
  void discard(Duration quiet, const bench::Patience& patience) override {
    keep("discard", exact(quiet.si()), [&] {
      link_->discard(quiet, patience);
      return "";
    });
  }
  bool late_replies_survive() const override { return link_->late_replies_survive(); }
  void close() noexcept override { link_->close(); }
  void guard(Duration limit) override { link_->guard(limit); }
  void hold(Duration time, const bench::Patience& patience) override {
    link_->hold(time, patience);
  }

 private:
  template <class Action>
  std::string keep(const char* did, std::string asked, const Action& action) {
    bench::Exchange exchange{0, who_, did, std::move(asked), "", std::nullopt};
    try {
      exchange.answer = action();
    } catch (const Error& e) {
      exchange.answer = e.what();
      exchange.fault = e.fault();
      journal_.add(exchange);
      throw;
    }
    journal_.add(exchange);
    return exchange.answer;
  }

  std::string who_;
  std::unique_ptr<Link> link_;
  bench::JournalWriter& journal_;
};

class ReplayLink final : public Link {
 public:
  ReplayLink(const std::string& role, std::string address, bench::JournalReader& journal)
      : who_(role + " " + address), address_(std::move(address)), journal_(journal) {}

  const std::string& address() const override { return address_; }
  void write(std::string_view message, const bench::Patience&) override {
    journal_.replay(who_, "write", std::string(message));
  }
  std::string read_line(std::size_t, const bench::Patience&) override {
    return journal_.replay(who_, "read line", "");
  }
  std::string read_exactly(std::size_t count, const bench::Patience&) override {
    return journal_.replay(who_, "read bytes", std::to_string(count));
  }
  void discard(Duration quiet, const bench::Patience&) override {
    journal_.replay(who_, "discard", exact(quiet.si()));
  }
  bool late_replies_survive() const override { return address_.starts_with("serial:"); }
  void close() noexcept override {}
  void hold(Duration, const bench::Patience&) override {}

 private:
  std::string who_, address_;
  bench::JournalReader& journal_;
};

}  // namespace

std::unique_ptr<Link> record_link(const std::string& role, std::unique_ptr<Link> link,
                                  bench::JournalWriter& journal) {
  return std::make_unique<RecordingLink>(role, std::move(link), journal);
}

std::unique_ptr<Link> replay_link(const std::string& role, const std::string& address,
                                  bench::JournalReader& journal) {
  return std::make_unique<ReplayLink>(role, address, journal);
}

}  // namespace pinproof::link
