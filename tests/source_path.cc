#include "fettle/base/source_path.h"

namespace fettle {

std::string source_path(std::string_view relative) {
    return std::string(FETTLE_SOURCE_DIR) + "/" + std::string(relative);
}

}  // namespace fettle
