// Blocks handed from one thread to another in order, at most a few at a time: one thread reads while others digest or
// write.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <deque>
#include <functional>
#include <mutex>
#include <optional>
#include <thread>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle::card {

struct Block {
    std::uint64_t at = 0;  // bytes from the card's start
    Bytes bytes;
};

// `take` runs on the conveyor's own thread, block by block, in the order they were put, until it fails. One producer.
class Conveyor {
public:
    static constexpr std::size_t most_waiting = 4;

    explicit Conveyor(std::function<Status(Block&)> take);
    ~Conveyor();  // drops what waits and ends the thread
    Conveyor(const Conveyor&) = delete;
    Conveyor& operator=(const Conveyor&) = delete;

    // Waits for room; returns the error of a `take` that has failed.
    Status put(Block block);
    // Waits until every block was taken. After it, or after an error, nothing touches what `take` uses any more.
    Status finish();
    // An emptied buffer to fill again, or a new one.
    Bytes buffer(std::size_t capacity);
    // Likewise, with whatever length and content it had: for a reader that overwrites it.
    Bytes used_buffer();
    std::size_t waiting();  // bytes put and not taken yet

private:
    void run();

    std::function<Status(Block&)> take_;  // constant after construction
    // Guarded by mutex_:
    std::mutex mutex_;
    std::condition_variable changed_;
    std::deque<Block> waiting_;
    std::deque<Bytes> spare_;
    std::size_t waiting_bytes_ = 0;  // the block being taken included
    bool closing_ = false;
    std::optional<Error> error_;
    // Last, so that it starts when the rest is there.
    std::thread thread_;
};

}  // namespace fettle::card
