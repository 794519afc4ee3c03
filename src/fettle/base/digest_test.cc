#include "fettle/base/digest.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>

#include "fettle/base/files.h"
#include "fettle/base/text.h"

namespace fettle {
namespace {

std::vector<std::vector<std::string>> rows(const char* name) {
    const auto text = read_text_file(std::string(FETTLE_SOURCE_DIR "/tests/data/reference/") + name);
    if (!text) throw std::runtime_error(text.error().message());
    std::vector<std::vector<std::string>> out;
    for (const std::string& line : split(*text, '\n'))
        if (!line.empty()) out.push_back(split(line, ','));
    out.erase(out.begin());
    return out;
}

// The source of each row stands in the file itself (NIST's SHA2_Additional.pdf and others).
TEST(Digest, Sha256OfPublishedMessages) {
    int seen = 0;
    for (const auto& row : rows("sha256.csv")) {
        const Bytes unit = row[1] == "hex" ? *unhex(row[2]) : Bytes(row[2].begin(), row[2].end());
        Bytes message;
        for (int i = 0; i < std::stoi(row[3]); ++i) append(message, unit);
        ASSERT_EQ(message.size(), std::stoul(row[4])) << row[0];
        EXPECT_EQ(sha256_hex(message), row[5]) << row[0];
        for (const std::size_t block : {1u, 63u, 64u, 65u, 4096u}) {
            if (block == 1 && message.size() > 10000) continue;
            Sha256Stream stream;
            for (std::size_t at = 0; at < message.size(); at += block)
                stream.update(ByteView(message).subspan(at, std::min(block, message.size() - at)));
            EXPECT_EQ(hex(stream.finish()), row[5]) << row[0] << " in blocks of " << block;
        }
        ++seen;
    }
    EXPECT_GE(seen, 20);
}

TEST(Digest, StreamStartsAnewAfterFinish) {
    Sha256Stream stream;
    stream.update(as_bytes("something else"));
    stream.finish();
    stream.update(as_bytes("abc"));
    EXPECT_EQ(hex(stream.finish()), sha256_hex(std::string_view("abc")));
}

TEST(Digest, Crc32OfPublishedMessages) {
    for (const auto& row : rows("crc32.csv")) {
        const Bytes message = *unhex(row[1]);
        const std::uint32_t expected = static_cast<std::uint32_t>(std::stoul(row[2], nullptr, 16));
        EXPECT_EQ(crc32(message), expected) << row[0];
        const std::size_t half = message.size() / 2;
        EXPECT_EQ(crc32(ByteView(message).subspan(half), crc32(ByteView(message).first(half))), expected) << row[0];
    }
}

TEST(Digest, OthersByName) {
    // RFC 1321 A.5 (MD5), RFC 3174 test 1 and FIPS 180-2 C.1 (SHA-1, SHA-512), all of "abc".
    const auto of_abc = [](const char* name) { return digest_hex(name, as_bytes("abc")).value(); };
    EXPECT_EQ(of_abc("md5"), "900150983cd24fb0d6963f7d28e17f72");
    EXPECT_EQ(of_abc("sha1"), "a9993e364706816aba3e25717850c26c9cd0d89d");
    EXPECT_EQ(of_abc("sha512"),
              "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a"
              "2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f");
    EXPECT_EQ(of_abc("crc32"), "352441c2");
    EXPECT_EQ(digest_hex("SHA-256", {}).error().code, "digest-unknown");
}

TEST(Digest, OfAFile) {
    const auto path = std::filesystem::temp_directory_path() / ("fettle-digest-" + std::to_string(::getpid()));
    std::ofstream(path) << "abc";
    EXPECT_EQ(sha256_hex_of_file(path).value(), sha256_hex(std::string_view("abc")));
    std::filesystem::remove(path);
    EXPECT_EQ(sha256_hex_of_file(path).error().kind, ErrorKind::bad_input);
}

}  // namespace
}  // namespace fettle
