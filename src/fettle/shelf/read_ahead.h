// Expands the parts of a release's files in the order of the card on a thread of its own, a few MB ahead of who reads.
#pragma once

#include <condition_variable>
#include <deque>
#include <mutex>
#include <thread>
#include <vector>

#include "fettle/shelf/packs.h"

namespace fettle::shelf {

class ReadAhead {
public:
    // `order`: ids of parts. Reader and parts must outlive it.
    ReadAhead(PackReader& reader, const Parts& parts, std::vector<std::int64_t> order);
    ~ReadAhead();
    ReadAhead(const ReadAhead&) = delete;
    ReadAhead& operator=(const ReadAhead&) = delete;

    // The next part's content; nullopt when `id` is not the next one. The view lives until the next call.
    std::optional<Loaded> next(std::int64_t id);

private:
    void run();
    struct One {
        std::int64_t id = 0;
        Loaded loaded;
        Buffer bytes;
    };
    PackReader& reader_;
    const Parts& parts_;
    const std::vector<std::int64_t> order_;
    std::mutex guard_;
    std::condition_variable changed_;
    // Guarded by guard_:
    std::deque<One> ready_;
    std::deque<Buffer> spare_;
    std::size_t ready_bytes_ = 0, taken_ = 0;
    bool closing_ = false;
    One current_;  // the caller's
    std::jthread thread_;
};

}  // namespace fettle::shelf
