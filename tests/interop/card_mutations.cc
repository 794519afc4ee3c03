// Audits changed copies of one small card image, for card_second_opinion.py.
//
//   card_mutations package FOLDER        writes the made-up package of a few small pieces
//   card_mutations lay IMAGE KIND BYTES  lays it by Fettle's own hand (exFAT: no stock tool writes files without
//   mounting) card_mutations judge IMAGE KIND      reads lines of "OFFSET:HEX OFFSET:HEX …", one changed copy each, and
//   answers
//                                        each with "VERDICT code code …"
// KIND: fat12 (no family takes it: held against the release alone), fat16, fat32, exfat.
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <iterator>
#include <sstream>

#include "fettle/card/test_cards.h"

namespace {

using namespace fettle;

card::test::Package package_for(const std::string& kind) {
    auto p = card::test::package("27.3.118", 3);
    p.family.card->file_system = kind == "fat12" ? "fat16" : kind;
    p.family.card->max_bytes = 0;
    return p;
}

int write_package(const std::filesystem::path& folder) {
    for (const auto& [path, bytes] : package_for("fat32").contents) {
        std::filesystem::create_directories((folder / path).parent_path());
        std::ofstream(folder / path, std::ios::binary)
            .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
    }
    return 0;
}

int lay(const std::string& image, const std::string& kind, std::uint64_t bytes) {
    const auto p = package_for(kind);
    const auto laid =
        card::lay_image(card::test::sources(p.contents), *p.family.card, bytes, p.release.index_sha256, image, false);
    if (!laid) std::fprintf(stderr, "%s\n", laid.error().message().c_str());
    return laid ? 0 : 1;
}

int judge(const std::string& image, const std::string& kind) {
    auto p = package_for(kind);
    std::ifstream in(image, std::ios::binary);
    Bytes whole((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
    if (whole.empty()) return 1;
    card::MemoryDevice device(whole, true);
    card::AuditRequest request;
    request.family = &p.family;
    if (kind == "fat12") {  // a family file that says nothing of cards
        request.release = &p.release;
        p.family.card.reset();
    }
    for (std::string line; std::getline(std::cin, line);) {
        std::istringstream changes(line);
        std::vector<std::pair<std::uint64_t, std::size_t>> changed;
        for (std::string change; changes >> change;) {
            const auto colon = change.find(':');
            const std::uint64_t at = std::stoull(change.substr(0, colon));
            const auto bytes = unhex(change.substr(colon + 1));
            if (!bytes || !device.write_at(at, *bytes)) return 1;
            changed.emplace_back(at, bytes->size());
        }
        const auto a = card::audit(device, request);
        if (a)
            std::printf("%s %s\n", std::string(code(a->verdict())).c_str(), card::test::codes(*a).c_str());
        else
            std::printf("error %s\n", a.error().code.c_str());
        for (const auto& [at, n] : changed)
            if (!device.write_at(at, ByteView(whole).subspan(at, n))) return 1;
    }
    return 0;
}

}  // namespace

int main(int argc, char** argv) {
    const std::vector<std::string> words(argv + 1, argv + argc);
    if (words.size() == 2 && words[0] == "package") return write_package(words[1]);
    if (words.size() == 4 && words[0] == "lay") return lay(words[1], words[2], std::stoull(words[3]));
    if (words.size() == 3 && words[0] == "judge") return judge(words[1], words[2]);
    std::fprintf(stderr, "see the head of card_mutations.cc\n");
    return 2;
}
