// A run kept in a ledger as it happens: a file of one's own, or a server that several benches share
// with a file in between for when it does not answer.
#pragma once

#include <memory>
#include <string>

#include "record/ledger.h"

namespace pinproof::session {

/// Where this user's records are, by the XDG base directory specification. Throws Error(usage)
/// where there is no home folder.
std::string data_folder();

/// The file that stands in for a server on this computer.
std::string spool_of(const std::string& server);

struct Sent {
  std::size_t records = 0;
  std::string trouble;  ///< empty: nothing waits any more
};
/// Hands over what the server does not have yet. Safe to repeat and to interrupt: nothing is lost,
/// nothing comes twice. Never throws for a server that does not answer.
Sent send_spooled(const std::string& server);
/// The same from one open ledger to another, with notes in `from` of what has gone; Error where
/// either fails.
std::size_t send_all(record::Ledger& from, record::Ledger& to);

/// Writes a run into the ledger, each event on the disk before anybody else is told of it.
class Keeping final : public record::Listener {
 public:
  /// `where` empty: keeps nothing.
  explicit Keeping(const std::string& where);
  ~Keeping() override;
  bool keeps() const { return ledger_ != nullptr; }
  record::Ledger& ledger() { return *ledger_; }

  void begin(record::Header& header, const std::string& profile_json);
  /// The unfinished one.
  record::Record resume(const std::string& id);
  void on_event(const record::Event& event) override;
  /// Closes the attempt, and sends it on where there is a server. What it has to tell, or empty.
  std::string close(const std::string& ended, const record::Judged& judged);
  const std::string& id() const { return id_; }

 private:
  std::string server_;  ///< empty: none
  std::unique_ptr<record::Ledger> ledger_;
  std::string id_;
  bool failed_ = false;
};

}  // namespace pinproof::session
