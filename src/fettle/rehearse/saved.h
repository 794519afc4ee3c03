// What a rehearsal's folder keeps of it, so that it can be gone on with: everything else stands in its journal.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

#include "fettle/base/result.h"

namespace fettle::rehearse {

struct Saved {
    std::string family, from, to, job;
    double speed = 300;
    std::uint64_t seed = 1;
    std::optional<double> cut_at;
    bool own_shelf = false;
    bool ended = false;
};
Status save(const std::filesystem::path& folder, const Saved& saved);
// bad_input "rehearsal-not-begun" when it does not say what was rehearsed; "rehearsal-ended".
Result<Saved> saved_in(const std::filesystem::path& folder);

// Held as long as a program goes on with a rehearsal: two never do at once.
class Lock {
public:
    // bad_input "rehearsal-not-begun" when nothing was saved there, "rehearsal-busy".
    static Result<Lock> take(const std::filesystem::path& folder);
    Lock() = default;
    Lock(Lock&& other) noexcept;
    Lock& operator=(Lock&& other) noexcept;
    ~Lock();

private:
    explicit Lock(int fd) : fd_(fd) {}
    int fd_ = -1;
};

}  // namespace fettle::rehearse
