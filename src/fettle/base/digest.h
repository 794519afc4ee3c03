// Digests and CRC-32, by OpenSSL and zlib's polynomial. Digests are written as lower-case hex with the algorithm's
// name beside it.
#pragma once

#include <array>
#include <filesystem>
#include <memory>
#include <string>
#include <string_view>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle {

using Sha256 = std::array<Byte, 32>;

// Streaming SHA-256 (FIPS 180-4): any number of update() calls, then finish() once. Moves, does not copy.
class Sha256Stream {
public:
    Sha256Stream();
    ~Sha256Stream();
    Sha256Stream(Sha256Stream&&) noexcept;
    Sha256Stream& operator=(Sha256Stream&&) noexcept;
    void update(ByteView b);
    Sha256 finish();  // after it the stream starts again

private:
    struct State;
    std::unique_ptr<State> state_;
};

Sha256 sha256(ByteView b);
std::string sha256_hex(ByteView b);
std::string sha256_hex(std::string_view text);

// Reads the whole file in blocks; bad_input when it is not there or cannot be read.
Result<std::string> sha256_hex_of_file(const std::filesystem::path& path);

// One digest by its name: "sha256", "sha512", "sha1", "md5", "crc32" (lower case). bad_input for any other name.
Result<std::string> digest_hex(std::string_view algorithm, ByteView b);

// The same, streaming: any number of update() calls, then finish() once.
class DigestStream {
public:
    static Result<DigestStream> make(std::string_view algorithm);  // bad_input as digest_hex
    ~DigestStream();
    DigestStream(DigestStream&&) noexcept;
    DigestStream& operator=(DigestStream&&) noexcept;
    void update(ByteView b);
    std::string finish();  // lower-case hex

private:
    struct State;
    explicit DigestStream(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

// CRC-32/ISO-HDLC (IEEE 802.3). For damage, never for trust.
std::uint32_t crc32(ByteView b, std::uint32_t before = 0);

}  // namespace fettle
