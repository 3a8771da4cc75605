// Faults on purpose, each on a line that names the check to find it. Never built.
#pragma once

#include <string>
#include <vector>

struct Base {
  Base() = default;
  Base(const Base&) = default;
  Base& operator=(const Base&) = default;
  virtual ~Base() = default;
  virtual int value() const { return 0; }
};

struct Derived : Base {
  virtual int value() const { return 1; }  // finds: modernize-use-override
};

struct Handle {  // finds: cppcoreguidelines-virtual-class-destructor
  virtual void close() {}
};

inline bool none(const std::vector<int>& list) {
  return list.size() == 0;  // finds: readability-container-size-empty
}
