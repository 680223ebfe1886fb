from rest_framework.pagination import LimitOffsetPagination


class NewestFirst(LimitOffsetPagination):
    """`limit` (at most 200) and `offset`; lists come newest first."""

    default_limit = 50
    max_limit = 200
