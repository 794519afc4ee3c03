// Where a card's bytes stand. Everything else in this room reads and writes through this interface, so that tests can
// put a device under it that fails on purpose.
//
// One object belongs to one thread at a time.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle::card {

class BlockDevice {
public:
    virtual ~BlockDevice() = default;

    virtual std::string name() const = 0;  // for messages: a path, or "memory"
    virtual std::uint64_t size_bytes() const = 0;

    // Fills all of `out` or fails: `past-the-end` (bad_input) when the range does not lie within the device,
    // `device-read-failed` (outside) when the medium does not give the bytes.
    virtual Status read_at(std::uint64_t at, ByteSpan out) = 0;

    // Writes all of `data` or fails; after a failure the range may hold old, new or mixed bytes. `device-read-only`
    // when it was opened for reading.
    virtual Status write_at(std::uint64_t at, ByteView data) = 0;

    // Returns when everything written before is on the medium, as far as the system tells.
    virtual Status sync() = 0;

    // Asks the system to forget what it holds of this device, so that the next read comes from the medium. True if the
    // system took the request and it means something here; false in memory and on file systems that live in memory.
    virtual bool drop_cache() { return false; }

    // True if every byte never written reads as zero (a fresh image file): zeros then need no writing.
    virtual bool fresh() const { return false; }
};

// Opens an image file or a block device for reading. bad_input for a folder, a missing file or anything else.
Result<std::unique_ptr<BlockDevice>> open_for_reading(const std::filesystem::path& path);

// A new image file of this size, all zeros and sparse. image-exists when something has that name already.
Result<std::unique_ptr<BlockDevice>> create_image(const std::filesystem::path& path, std::uint64_t size_bytes);

// Bytes in memory; `bytes` is theirs to look at.
class MemoryDevice : public BlockDevice {
public:
    explicit MemoryDevice(Bytes content, bool is_fresh = false) : bytes(std::move(content)), fresh_(is_fresh) {}

    std::string name() const override { return "memory"; }
    std::uint64_t size_bytes() const override { return bytes.size(); }
    Status read_at(std::uint64_t at, ByteSpan out) override;
    Status write_at(std::uint64_t at, ByteView data) override;
    Status sync() override { return {}; }
    bool fresh() const override { return fresh_; }

    Bytes bytes;

private:
    bool fresh_;
};

// Wraps a device and breaks it on purpose, keeping notes. Counts start at 1; 0 means never.
class FaultyDevice : public BlockDevice {
public:
    struct Plan {
        std::uint64_t fail_write = 0;    // the n-th write fails, nothing of it arrives
        std::uint64_t fail_sync = 0;     // the n-th sync fails
        std::uint64_t drop_write = 0;    // the n-th write says it went well and does nothing
        std::uint64_t flip_write = 0;    // the n-th write arrives with one bit changed in its middle byte
        std::uint64_t fail_read_at = 0;  // reads that touch this byte offset fail
        std::uint64_t lie_from = 0;      // from this write on nothing arrives, and all is said to be well
    };
    struct Note {
        std::uint64_t at = 0;
        std::uint64_t length = 0;
        std::uint64_t syncs_before = 0;
    };

    FaultyDevice(BlockDevice& under, Plan plan) : under_(under), plan_(plan) {}

    std::string name() const override { return under_.name(); }
    std::uint64_t size_bytes() const override { return under_.size_bytes(); }
    Status read_at(std::uint64_t at, ByteSpan out) override;
    Status write_at(std::uint64_t at, ByteView data) override;
    Status sync() override;
    bool drop_cache() override { return under_.drop_cache(); }
    bool fresh() const override { return under_.fresh(); }

    const std::vector<Note>& writes() const { return writes_; }
    std::uint64_t syncs() const { return syncs_; }

private:
    BlockDevice& under_;
    Plan plan_;
    std::vector<Note> writes_;
    std::uint64_t syncs_ = 0;
};

}  // namespace fettle::card
