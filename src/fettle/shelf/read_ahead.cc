// Expanding parts ahead of a reader that takes them in a known order. What was expanded and not asked for is bounded in
// bytes, not in parts: one part may be as large as all others together.
#include "fettle/shelf/read_ahead.h"

namespace fettle::shelf {
namespace {

constexpr std::size_t most_ready_bytes = 16u << 20;  // or one part, if that is larger
constexpr std::size_t most_spare = 64;

}  // namespace

ReadAhead::ReadAhead(PackReader& reader, const Parts& parts, std::vector<std::int64_t> order)
    : reader_(reader), parts_(parts), order_(std::move(order)), thread_([this] { run(); }) {}

ReadAhead::~ReadAhead() {
    {
        const std::lock_guard lock(guard_);
        closing_ = true;
    }
    changed_.notify_all();
    thread_.join();
}

std::optional<Loaded> ReadAhead::next(std::int64_t id) {
    std::unique_lock lock(guard_);
    if (taken_ >= order_.size() || order_[taken_] != id) return std::nullopt;
    changed_.wait(lock, [&] { return !ready_.empty(); });
    if (current_.bytes.capacity() > 0 && current_.bytes.capacity() <= most_ready_bytes / 16 &&
        spare_.size() < most_spare)
        spare_.push_back(std::move(current_.bytes));
    current_ = std::move(ready_.front());
    ready_.pop_front();
    ready_bytes_ -= current_.loaded.bytes.size();
    ++taken_;
    changed_.notify_all();
    return current_.loaded;
}

void ReadAhead::run() {
    Bench bench;
    for (const std::int64_t id : order_) {
        One one;
        one.id = id;
        {
            std::unique_lock lock(guard_);
            changed_.wait(lock, [&] { return closing_ || ready_.empty() || ready_bytes_ < most_ready_bytes; });
            if (closing_) return;
            if (!spare_.empty()) {
                one.bytes = std::move(spare_.front());
                spare_.pop_front();
            }
        }
        const auto part = parts_.find(id);
        one.loaded =
            part == parts_.end() ? Loaded{{}, id, false} : reader_.load(parts_, part->second, bench, one.bytes);
        const std::lock_guard lock(guard_);
        ready_bytes_ += one.loaded.bytes.size();
        ready_.push_back(std::move(one));
        changed_.notify_all();
    }
}

}  // namespace fettle::shelf
