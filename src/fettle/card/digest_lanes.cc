// A file's digest can only be taken in order, so threads share files, not blocks: the next file goes to the lane with
// the least bytes before it.
#include "fettle/card/digest_lanes.h"

#include <algorithm>
#include <optional>
#include <utility>

namespace fettle::card {

// A block's `at` is the file's number; an empty block ends the file.
struct DigestLanes::Lane {
    std::vector<std::pair<std::size_t, DigestStream>> begun;  // guarded by handing over: one entry per file, see add()
    std::vector<std::pair<std::size_t, std::string>> done;    // the lane's own until finish()
    std::mutex mutex;                                         // guards `begun`
    std::optional<std::pair<std::size_t, DigestStream>> running;  // the lane's own
    Conveyor conveyor;

    Lane() : conveyor([this](Block& b) { return take(b); }) {}

    Status take(Block& b) {
        if (!running || running->first != b.at) {
            const std::lock_guard lock(mutex);
            running.emplace(std::move(begun.front()));
            begun.erase(begun.begin());
        }
        if (b.bytes.empty()) {
            done.emplace_back(running->first, running->second.finish());
            running.reset();
        } else {
            running->second.update(b.bytes);
        }
        return {};
    }
};

DigestLanes::DigestLanes(unsigned lanes) {
    for (unsigned i = 0; i < std::max(1u, lanes); ++i) lanes_.push_back(std::make_unique<Lane>());
}

DigestLanes::~DigestLanes() = default;

bool DigestLanes::begin(const std::string& algorithm) {
    auto stream = DigestStream::make(algorithm);
    if (!stream) return false;
    const auto least = [](const auto& a, const auto& b) { return a->conveyor.waiting() < b->conveyor.waiting(); };
    now_ = std::min_element(lanes_.begin(), lanes_.end(), least)->get();
    const std::lock_guard lock(now_->mutex);
    now_->begun.emplace_back(files_++, std::move(*stream));
    return true;
}

Status DigestLanes::add(Bytes block) {
    return block.empty() ? Status{} : now_->conveyor.put({files_ - 1, std::move(block)});
}

void DigestLanes::end() {
    (void)now_->conveyor.put({files_ - 1, {}});  // cannot fail: taking never does
}

Bytes DigestLanes::buffer() {
    return now_->conveyor.used_buffer();
}

std::vector<std::string> DigestLanes::finish() {
    std::vector<std::string> out(files_);
    for (auto& lane : lanes_) {
        (void)lane->conveyor.finish();
        for (auto& [file, digest] : lane->done) out[file] = std::move(digest);
    }
    return out;
}

}  // namespace fettle::card
