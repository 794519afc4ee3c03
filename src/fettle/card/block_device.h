// Where a card's bytes stand. Everything else in this room reads and writes through this interface, so that tests can
// put a device under it that fails on purpose (test_faulty_device.h).
//
// One object belongs to one thread at a time.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>

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

    // From now on reads come from the medium, not from what the system holds of it, until the next write. Call it after
    // sync(). True only if that is certain: reads then pass the system's memory by, or it was looked whether anything
    // is left there. False in memory, on file systems that live in memory, and where the system does neither.
    // What the card's own controller holds is beyond any system's reach.
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

}  // namespace fettle::card
