// Audits cards that tools from outside made, for fat_oracles_stock.sh.
//
//   fat_oracles_audit package FOLDER [old]   writes a made-up package of the example family into FOLDER
//   fat_oracles_audit lay FOLDER PIECES BYTES CARD-BYTES   a package of that size, in FOLDER/pack and laid in
//                                      FOLDER/card.img; for bench/card_speed.sh
//   fat_oracles_audit once IMAGE       audits one such card by its own index
//   fat_oracles_audit audit IMAGE [strict|exfat|fat16]   "VERDICT code code …" by the family, then by what any reader
//   would stumble on
#include <cstdio>
#include <filesystem>
#include <fstream>

#include "fettle/card/test_cards.h"

namespace {

void print(const fettle::Result<fettle::card::Audit>& a) {
    if (!a)
        std::printf("error %s\n", a.error().code.c_str());
    else
        std::printf("%s %s\n", std::string(code(a->verdict())).c_str(), fettle::card::test::codes(*a).c_str());
}

int usage() {
    std::fprintf(stderr, "see the head of fat_oracles_audit.cc\n");
    return 2;
}

void write_package(const fettle::card::test::Package& p, const std::filesystem::path& folder) {
    for (const auto& [path, bytes] : p.contents) {
        const auto file = folder / path;
        std::filesystem::create_directories(file.parent_path());
        std::ofstream(file, std::ios::binary)
            .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
    }
}

// A package of so many pieces of so many bytes, as a folder and on a card of this size, which may be sparse.
int lay_large(const std::filesystem::path& folder, std::size_t pieces, std::size_t each, std::uint64_t card_bytes) {
    const auto p = fettle::card::test::package("27.3.118", pieces, each);
    write_package(p, folder / "pack");
    std::vector<fettle::card::SourceFile> sources;
    for (const auto& [path, bytes] : p.contents)
        sources.push_back(fettle::card::source_from_file(path, folder / "pack" / path, bytes.size(), {}));
    const auto laid = fettle::card::lay_image(sources, *p.family.card, card_bytes, p.release.index_sha256,
                                              folder / "card.img", false);
    if (!laid) std::fprintf(stderr, "%s\n", laid.error().message().c_str());
    return laid ? 0 : 1;
}

}  // namespace

int main(int argc, char** argv) {
    if (argc == 6 && std::string(argv[1]) == "lay")
        return lay_large(argv[2], std::stoul(argv[3]), std::stoul(argv[4]), std::stoull(argv[5]));
    if (argc != 3 && argc != 4) return usage();
    const std::string what = argv[1], third = argc == 4 ? argv[3] : "";
    auto p = fettle::card::test::package();
    const auto old = fettle::card::test::package("27.1.110");
    p.family.card->cluster_kib = {4, 8, 16, 32};  // as the example family has it
    if (what == "package") {
        write_package(third == "old" ? old : p, argv[2]);
        return 0;
    }
    if (what == "once") {  // by its own index, the family's key alone known
        const auto device = fettle::card::open_for_reading(argv[2]);
        if (!device) return 1;
        fettle::card::AuditRequest request;
        request.family = &p.family;
        print(fettle::card::audit(**device, request));
        return 0;
    }
    if (third == "strict") p.family.card->foreign = "refused";
    if (third == "exfat" || third == "fat16") {
        p.family.card->file_system = third;
        p.family.card->cluster_kib.clear();
        p.family.card->max_bytes = 0;
    }
    const auto device = fettle::card::open_for_reading(argv[2]);
    if (!device) {
        std::printf("error %s\n", device.error().code.c_str());
        return 1;
    }
    fettle::card::AuditRequest request;
    request.family = &p.family;
    request.others = {&p.release, &old.release};
    print(fettle::card::audit(**device, request));
    print(fettle::card::audit(**device));
    return 0;
}
