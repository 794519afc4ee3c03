// Any bytes as a card to audit: it ends, it has a verdict and a sentence, and a card is called good only when every
// file that was wanted is right.
#include <cstdlib>

#include "fettle/card/audit.h"

using namespace fettle;

namespace {

constexpr std::size_t most_input = 256u << 10;

family::Family a_family() {
    family::Family f;
    f.id = "dunnock";
    f.card.emplace();
    f.card->index_at = "release.json";
    f.package.emplace();
    f.package->index = "release.json";
    f.package->form = "json";
    f.package->signature_form = "ed25519";
    f.package->signature_file = "release.sig";
    f.package->signature_key = "e95463130e5097d5ef5427ba1a2d518ce94a3b5606c242498bc2f8243603f37c";
    f.package->release_fields = {{"family", "/family"}, {"release", "/release"}, {"pieces", "/pieces"}};
    for (const char* field : {"name", "box", "region", "version", "file", "size", "sha256"})
        f.package->piece_fields[field] = std::string("/") + field;
    return f;
}

void must(bool holds) {
    if (!holds) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size > most_input) return 0;
    static const family::Family known = a_family();
    for (const family::Family* family : {static_cast<const family::Family*>(nullptr), &known}) {
        card::MemoryDevice device(Bytes(data, data + size));
        card::AuditRequest request;
        request.family = family;
        const auto audit = card::audit(device, request);
        if (!audit) continue;
        must(!audit->sentence.empty());
        must(!audit->judgement.reasons.empty());
        must(audit->bytes_read <= 2 * size);
        if (audit->verdict() == Verdict::fit) must(family && audit->files_wanted == audit->files_matched);
    }
    return 0;
}
