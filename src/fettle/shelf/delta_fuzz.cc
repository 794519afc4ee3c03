// The delta reader: the first half of the input is what a delta rests on. The second half, as a stored delta, is
// expanded to any claimed size; as a content it is made a delta, which must give it back.
#include <algorithm>
#include <cstdlib>

#include "fettle/shelf/pack.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    using namespace fettle::shelf;
    if (size < 2) return 0;
    static Press press;
    const std::size_t claimed = std::size_t{data[0]} * data[1];
    const ByteView prefix(data + 2, (size - 2) / 2), rest(data + 2 + prefix.size(), size - 2 - prefix.size());
    Bytes out(claimed);
    for (const Form form : {Form::plain, Form::zstd, Form::delta}) (void)press.expand(form, rest, prefix, out);
    Buffer squeezed;
    const Form form = press.squeeze(rest, prefix, squeezed);
    Bytes again(rest.size());
    const ByteView stored = squeezed.view().subspan(record_head_bytes);
    if (stored.size() > rest.size()) std::abort();
    if (!press.expand(form, stored, prefix, again) || !std::equal(rest.begin(), rest.end(), again.begin(), again.end()))
        std::abort();
    return 0;
}
