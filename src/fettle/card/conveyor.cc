// A queue of at most four blocks between a thread that reads and one that takes. Emptied buffers go back to the reader,
// so that a card of many gigabytes is carried by a few megabytes that are asked for once.
#include "fettle/card/conveyor.h"

namespace fettle::card {

Conveyor::Conveyor(std::function<Status(Block&)> take) : take_(std::move(take)), thread_([this] { run(); }) {}

Conveyor::~Conveyor() {
    {
        const std::lock_guard lock(mutex_);
        closing_ = true;
        waiting_.clear();
    }
    changed_.notify_all();
    if (thread_.joinable()) thread_.join();
}

Status Conveyor::put(Block block) {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [&] { return error_ || waiting_.size() < most_waiting; });
    if (error_) return tl::unexpected(*error_);
    waiting_bytes_ += block.bytes.size();
    waiting_.push_back(std::move(block));
    lock.unlock();
    changed_.notify_all();
    return {};
}

Status Conveyor::finish() {
    {
        const std::lock_guard lock(mutex_);
        closing_ = true;
    }
    changed_.notify_all();
    if (thread_.joinable()) thread_.join();
    if (error_) return tl::unexpected(*error_);
    return {};
}

Bytes Conveyor::used_buffer() {
    const std::lock_guard lock(mutex_);
    if (spare_.empty()) return {};
    Bytes out = std::move(spare_.front());
    spare_.pop_front();
    return out;
}

Bytes Conveyor::buffer(std::size_t capacity) {
    Bytes out = used_buffer();
    out.clear();
    out.reserve(capacity);
    return out;
}

std::size_t Conveyor::waiting() {
    const std::lock_guard lock(mutex_);
    return waiting_bytes_;
}

void Conveyor::run() {
    std::unique_lock lock(mutex_);
    for (;;) {
        changed_.wait(lock, [&] { return closing_ || !waiting_.empty(); });
        if (waiting_.empty()) return;
        Block block = std::move(waiting_.front());
        waiting_.pop_front();
        const std::size_t bytes = block.bytes.size();
        lock.unlock();
        changed_.notify_all();
        Status s = take_(block);
        lock.lock();
        waiting_bytes_ -= bytes;
        if (!s) {
            error_ = s.error();
            waiting_.clear();
            lock.unlock();
            changed_.notify_all();
            return;
        }
        // Only what can be filled again, and no more than can be on its way: blocks that merely end something are
        // empty.
        if (block.bytes.capacity() != 0 && spare_.size() <= most_waiting) spare_.push_back(std::move(block.bytes));
    }
}

}  // namespace fettle::card
