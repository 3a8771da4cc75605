// What a ledger asks of a database: SQL that SQLite and PostgreSQL both speak, with $1, $2 for
// values. One implementation a database, one line in the table of open_store().
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace pinproof::record {

/// NULL, a whole number, a number or text.
using Value = std::variant<std::monostate, std::int64_t, double, std::string>;

/// One row of an answer, while each() runs. Columns count from 0.
class Row {
 public:
  virtual ~Row() = default;
  virtual bool empty(int column) const = 0;
  virtual std::int64_t whole(int column) const = 0;
  virtual double number(int column) const = 0;
  virtual std::string_view text(int column) const = 0;
};

using OnRow = std::function<void(const Row&)>;

/// Every call throws Error(bench) naming the database and what it was asked for: locked too long,
/// disk full, server gone. After that nothing of the transaction is kept.
class Store {
 public:
  virtual ~Store() = default;
  /// For complaints; a password in it is left out.
  virtual const std::string& name() const = 0;
  /// Rows that were changed.
  virtual std::size_t run(const std::string& sql, const std::vector<Value>& values = {}) = 0;
  /// Rows come one by one; the answer is never held as a whole.
  virtual void each(const std::string& sql, const std::vector<Value>& values,
                    const OnRow& on_row) = 0;
  virtual void begin() = 0;
  /// A transaction that only reads: all of it is of one moment, and no writer waits for it.
  virtual void begin_reading() = 0;
  /// On return it is on the disk.
  virtual void commit() = 0;
  virtual void rollback() noexcept = 0;
  /// Types of columns, by this database's names: "$whole" and "$real" in `sql` become these.
  virtual std::string own_types(std::string sql) const = 0;
  /// A whole copy in a file of its own, consistent though others write. False where this database
  /// has tools of its own for that.
  virtual bool back_up(const std::string& path) = 0;
};

/// A transaction that is rolled back unless it was committed.
class Transaction {
 public:
  explicit Transaction(Store& store) : store_(store) { store_.begin(); }
  Transaction(const Transaction&) = delete;
  Transaction& operator=(const Transaction&) = delete;
  ~Transaction() {
    if (open_) store_.rollback();
  }
  void commit() {
    open_ = false;
    store_.commit();
  }

 private:
  Store& store_;
  bool open_ = true;
};

/// What is read while it lives is of one moment, whoever writes meanwhile.
class Snapshot {
 public:
  explicit Snapshot(Store& store) : store_(store) { store_.begin_reading(); }
  Snapshot(const Snapshot&) = delete;
  Snapshot& operator=(const Snapshot&) = delete;
  ~Snapshot() { store_.rollback(); }

 private:
  Store& store_;
};

/// Values of many rows, in few statements: a shared ledger is a network away, and while one
/// writes the others wait.
void insert_rows(Store& store, const std::string& table, std::size_t columns,
                 const std::vector<Value>& values);

enum class Access { read, write };

/// "postgresql://..." or a file of SQLite, made with Access::write where it is missing. Throws
/// Error(usage) for a file that is no database or is missing, Error(bench) where no server answers.
std::unique_ptr<Store> open_store(const std::string& where, Access access);
bool is_server(const std::string& where);

std::unique_ptr<Store> open_sqlite(const std::string& where, Access access);
std::unique_ptr<Store> open_postgresql(const std::string& where, Access access);

}  // namespace pinproof::record
