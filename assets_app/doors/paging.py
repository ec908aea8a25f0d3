"""Pages by key for the API: the next page starts after the last row of this one, whatever was added meanwhile."""

from rest_framework.pagination import CursorPagination


class KeyPages(CursorPagination):
    """Cursor pages, newest first unless the view names its own ``ordering``; ``page_size`` up to 200."""

    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 200
    ordering = "-pk"
