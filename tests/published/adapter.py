"""What each published case asks of the product: method name to the function that answers it.

No case is treated apart: a method's function turns the inputs into arguments and the result
into the names the cases use, nothing else. The functions and the cases stand in
``service/validation``, because an installed copy carries them and checks itself with them.
"""

from service.validation.published_methods import METHODS

__all__ = ["METHODS"]
