// The pack format: any bytes as a pack, read record by record; what is read is expanded. What was written reads back.
#include <algorithm>
#include <cstdlib>

#include "fettle/shelf/pack.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    using namespace fettle::shelf;
    ByteView rest{data, size};
    static Press press;
    const Bytes opens = pack_head();
    if (rest.size() >= opens.size() && std::equal(opens.begin(), opens.end(), rest.begin()))
        rest = rest.subspan(pack_head_bytes);
    Buffer out;
    for (int records = 0; records < 64; ++records) {
        const auto r = read_record(rest);
        if (!r) break;
        if (r->head.size <= 1u << 20 && press.expand(r->head.form, r->stored, {}, out.fit(r->head.size)) &&
            out.view().size() != r->head.size)
            std::abort();
        rest = rest.subspan(record_head_bytes + r->head.stored);
    }
    // As content: its record reads back as it was, and no byte of it may be changed unseen.
    const ByteView content{data, size};
    RecordHead head;
    head.form = press.squeeze(content, std::nullopt, out);
    head.size = static_cast<std::uint32_t>(content.size());
    head.content_check = quick_check(content);
    head.stored = static_cast<std::uint32_t>(out.view().size() - record_head_bytes);
    write_record_head(head, out.view().subspan(record_head_bytes), out.span());
    const auto back = read_record(out.view());
    if (!back || back->head != head) std::abort();
    Bytes again(size);
    if (!press.expand(back->head.form, back->stored, {}, again) || again != Bytes(content.begin(), content.end()))
        std::abort();
    const std::size_t at = size == 0 ? 0 : content[0] * 31u % out.view().size();
    out.span()[at] ^= 0x10;
    if (read_record(out.view())) std::abort();
    return 0;
}
