#include "cmd_placard.h"

#include <filesystem>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/show/placard.h"
#include "placard_pdf.h"

namespace fettle::app {

Result<Answer> ready_placard(Context& context, const ReadyPlacardOptions& options) {
    const std::string kind = std::filesystem::path(options.out).extension().string();
    if (kind != ".svg" && kind != ".pdf")
        return usage_error("placard-form-unknown", printable(options.out), "the name ends in neither .svg nor .pdf",
                           "give --out placard.pdf or --out placard.svg");
    const auto placard = workshop::placard_of(context, options.ask);
    if (!placard) return pass(placard);
    const ready::Placard page = ready::lay_out(placard->facts);
    const auto drawn = kind == ".pdf" ? placard_pdf(page) : Result<std::string>(ready::placard_svg(page));
    if (!drawn) return pass(drawn);
    if (auto written = write_file_durably(options.out, *drawn); !written) return pass(written);
    return show::placard_written(*placard, options.out);
}

}  // namespace fettle::app
